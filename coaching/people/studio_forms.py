"""What a studio's owner and coaches say about the studio."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from coaching.people.forms import set_choices
from coaching.people.models import Membership, Studio
from coaching.people.zones import zone_label, zone_names

WEEKDAYS = (_("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"))


class StudioForm(forms.Form):
    """Name, look and sign-in: the owner's."""

    name = forms.CharField(label=_("Name of the studio"), max_length=80)
    accent = forms.ChoiceField(
        label=_("Colour of the next step"),
        choices=Studio.Accent.choices,
        help_text=_("What you and your students press, and what is chosen, stands in it."),
        widget=forms.RadioSelect,
    )
    second_step_required = forms.BooleanField(
        label=_("Everybody who works here signs in with a second step."), required=False
    )


class PromiseForm(forms.Form):
    """When an answer is promised."""

    turnaround_hours = forms.IntegerField(
        label=_("You answer within, in hours"),
        min_value=1,
        max_value=336,
        help_text=_("Hours of days that count. What is on its way is promised anew."),
    )
    working_days = forms.MultipleChoiceField(
        label=_("Days that count"),
        choices=[(str(day), WEEKDAYS[day - 1]) for day in range(1, 8)],
        error_messages={"required": _("Let at least one day of the week count.")},
    )
    time_zone = forms.ChoiceField(
        label=_("Time zone of the studio"),
        help_text=_("Days begin and end by this clock. Each student reads times by their own."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "time_zone", [(name, zone_label(name)) for name in zone_names()])

    def clean_working_days(self) -> str:
        return "".join(sorted(self.cleaned_data["working_days"]))


class MemberForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"))
    role = forms.ChoiceField(
        label=_("What they do"),
        choices=[
            (Membership.Role.COACH, _("coach: teaches, assigns and judges")),
            (Membership.Role.ASSISTANT, _("assistant: reads and prepares, never judges")),
            (Membership.Role.OWNER, _("owner: teaches, and runs the studio")),
        ],
        widget=forms.RadioSelect,
        initial=Membership.Role.COACH,
    )


class HolidayForm(forms.Form):
    starts_on = forms.DateField(
        label=_("First day"), widget=forms.DateInput(attrs={"type": "date"})
    )
    ends_on = forms.DateField(label=_("Last day"), widget=forms.DateInput(attrs={"type": "date"}))
    note = forms.CharField(label=_("A note for yourself"), max_length=80, required=False)
