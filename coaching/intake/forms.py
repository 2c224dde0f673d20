"""Forms of the intake."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from analysis.core.pose import KINDS, VIEWS
from coaching.intake.models import RequestedAngle
from coaching.intake.services.asking import MAX_ANGLES
from coaching.lessons.wording import naming


def _views() -> list[tuple[str, Any]]:
    return [("", _("not this one")), *((v, naming.VIEWS[v][0]) for v in VIEWS)]


def _films() -> list[tuple[str, Any]]:
    """Kinds of film; a held club is asked for by where it is held: `bar`, `bar-chest`."""
    kinds = [(kind, naming.KINDS[kind]) for kind in KINDS if kind != "bar"]
    return [*kinds, ("bar", naming.ACROSS["hips"][0]), ("bar-chest", naming.ACROSS["chest"][0])]


class AngleForm(forms.Form):
    """One angle; a row without a view is not asked for."""

    view = forms.ChoiceField(label=_("From"), choices=_views, required=False)
    kind = forms.ChoiceField(label=_("Film"), choices=_films)
    repetitions = forms.IntegerField(
        label=_("How many"), validators=[MinValueValidator(1), MaxValueValidator(10)], initial=3
    )
    effort = forms.ChoiceField(
        label=_("How fast"), choices=RequestedAngle.Effort.choices, initial="full"
    )
    ball = forms.ChoiceField(label=_("Ball"), choices=RequestedAngle.Ball.choices, initial="ball")
    club = forms.CharField(label=_("Club"), max_length=40, required=False, initial="7 iron")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["repetitions"].widget.attrs.update(
            {"min": 1, "max": 10, "inputmode": "numeric"}
        )
        if self.initial.get("bar_across") == "chest":
            self.initial = {**self.initial, "kind": "bar-chest"}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if "kind" in data:
            data["kind"], _dash, across = data["kind"].partition("-")
            data["bar_across"] = across or "hips"
        return data


AngleFormSet = forms.formset_factory(AngleForm, extra=1, max_num=MAX_ANGLES, validate_max=True)


class AskForm(forms.Form):
    text = forms.CharField(
        label=_("A word to go with it"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    due_on = forms.DateField(
        label=_("Wanted by"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )

    def clean_due_on(self) -> Any:
        day = self.cleaned_data["due_on"]
        if day and day < timezone.localdate():
            raise forms.ValidationError(_("Choose today or a later day."))
        return day


class SetForm(forms.Form):
    """A set of films that a studio asks for often; the films are an `AngleFormSet`."""

    title = forms.CharField(label=_("Name of the set"), max_length=60)
    note = forms.CharField(label=_("For whom"), max_length=80, required=False)
    text = forms.CharField(
        label=_("Your words with it"),
        help_text=_("{name} becomes the student’s first name."),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    due_days = forms.IntegerField(
        label=_("Due after, in days"), required=False, min_value=1, max_value=60
    )


class SendForm(forms.Form):
    """The way without script: the phone's camera or a chosen file, sent whole."""

    camera = forms.FileField(required=False, allow_empty_file=True)
    clip = forms.FileField(required=False, allow_empty_file=True)
    text = forms.CharField(required=False, max_length=2000)
    replaces = forms.CharField(required=False, max_length=18)
    key = forms.UUIDField(required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["file"] = data.get("clip") or data.get("camera")
        if data["file"] is None:
            raise forms.ValidationError(_("Film, or choose a clip, then send it."), code="no_file")
        return data


class WordForm(forms.Form):
    text = forms.CharField(max_length=2000, required=False)
