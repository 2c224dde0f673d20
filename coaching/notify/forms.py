from django import forms
from django.utils.translation import gettext_lazy as _

LETTERS = {
    "words": _("Messages in the thread"),
    "work": _("Requests, answers, drills and verdicts"),
    "clips": _("Whether a clip can be used"),
    "people": _("Who joins, what hurts, what is agreed to"),
}


class LettersForm(forms.Form):
    wanted = forms.MultipleChoiceField(
        label=_("Write to me about"),
        help_text=_("Pain is always told, and a guardian is told everything."),
        choices=list(LETTERS.items()),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
