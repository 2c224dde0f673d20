from django import forms
from django.utils.translation import gettext_lazy as _

LETTERS = {
    "text": _("Messages"),
    "work": _("Requests, answers, drills and verdicts"),
    "clips": _("Whether a clip can be used"),
    "people": _("Who joins, what hurts, what is agreed to"),
}


class LettersForm(forms.Form):
    wanted = forms.MultipleChoiceField(
        label=_("Write to me about"),
        help_text=_(
            "We always write about pain and about guardians, and a guardian hears of everything."
        ),
        choices=list(LETTERS.items()),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
