"""What a student is asked on the way in and again each quarter: the body, the ball, the person."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from coaching.people import drawings
from coaching.people.ball import Flight, Height, Strike
from coaching.people.forms import set_choices
from coaching.people.models import (
    BodyNote,
    Region,
    Student,
)
from coaching.people.stature import parse_stature_cm

# From top to bottom, as the body stands in the picture.
BODY_ORDER = (
    Region.NECK,
    Region.SHOULDER,
    Region.ELBOW,
    Region.BACK,
    Region.WRIST,
    Region.HIP,
    Region.KNEE,
    Region.ANKLE,
    Region.OTHER,
)


SIDES = [
    ("", _("in the middle, or I can’t say")),
    ("left", _("left")),
    ("right", _("right")),
    ("both", _("both")),
]


class BodyForm(forms.Form):
    """One row for each part of the body, or the word that nothing hurts."""

    nothing = forms.BooleanField(label=_("Nothing hurts and nothing is limited."), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for region in BODY_ORDER:
            name = region.label.capitalize()
            self.fields[region] = forms.BooleanField(label=name, required=False)
            self.fields[f"{region}_kind"] = forms.ChoiceField(
                label=_("How"), choices=BodyNote.Kind.choices, required=False
            )
            self.fields[f"{region}_side"] = forms.ChoiceField(
                label=_("Side"), choices=SIDES, required=False
            )
            self.fields[f"{region}_text"] = forms.CharField(
                label=_("Which movement?"), max_length=300, required=False
            )

    def rows(self) -> list[dict[str, Any]]:
        """The fields of each region together, for the page."""
        return [
            {
                "region": region.value,
                "there": self[region],
                "more": [self[f"{region}_{part}"] for part in ("kind", "side", "text")],
            }
            for region in BODY_ORDER
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        marked = [region for region in BODY_ORDER if data.get(region)]
        if bool(marked) == bool(data.get("nothing")):
            raise forms.ValidationError(
                _("Mark what hurts or is limited, or say that nothing is."), code="choose"
            )
        return data

    def notes(self) -> list[dict[str, str]]:
        data = self.cleaned_data
        return [
            {
                "region": region.value,
                "kind": data[f"{region}_kind"] or BodyNote.Kind.PAINFUL,
                "side": data[f"{region}_side"],
                "text": data[f"{region}_text"],
            }
            for region in BODY_ORDER
            if data.get(region)
        ]


class StatureField(forms.CharField):
    """Cleans to (centimetres, units as written)."""

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return text
        try:
            return parse_stature_cm(text)
        except ValueError:
            raise forms.ValidationError(
                _("Write it like 178 cm or 5 ft 10 in."), code="stature"
            ) from None


class BallForm(forms.Form):
    """What the ball does, chosen from pictures; all of it may stay open."""

    flight = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    height = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    strike = forms.ChoiceField(required=False, widget=forms.RadioSelect)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        draw_ball_fields(self)
        self.fields["flight"].label = _("Where did it go?")  # in this film, not as a rule
        self.fields["strike"].label = _("How did you hit it?")


SIDES_OF_FLIGHT = ("left", "straight", "right")


def draw_ball_fields(form: forms.BaseForm) -> None:
    """Choices with their pictures, and one that takes the choice back."""
    open_choice = ("", _("it changes, or I do not know"))
    labels = {
        "flight": (_("Where does a bad shot go?"), Flight, drawings.flight),
        "height": (_("How high?"), Height, None),
        "strike": (_("How do you hit a bad one?"), Strike, drawings.strike),
    }
    for name, (label, choices, draw) in labels.items():
        field = form.fields[name]
        field.label, field.required = label, False
        rows = choices.choices
        if name == "flight":  # columns by where it starts, rows by how it curves
            rows = sorted(rows, key=lambda row: SIDES_OF_FLIGHT.index(row[0].split("-")[1]))
        shown = [(value, _drawn(draw, value, str(text))) for value, text in rows]
        set_choices(form, name, [*shown, open_choice])
    form.fields["flight"].help_text = _("Seen from behind you; the flag is your target.")


def _drawn(draw: Any, value: str, text: str) -> str:
    return format_html("{}<span>{}</span>", draw(value), text) if draw else text


class AboutForm(forms.ModelForm):  # type: ignore[type-arg]  # not subscriptable when it runs
    stature = StatureField(
        label=_("How tall are you?"),
        help_text=_("Like 178 cm or 5 ft 10 in. Lengths are measured against it."),
        widget=forms.TextInput(attrs={"class": "short", "autocomplete": "off"}),
    )

    class Meta:
        model = Student
        fields = (
            "handedness",
            "age_band",
            "goals",
            "flight",
            "height",
            "strike",
            "usual_miss",
            "practice_place",
            "needs_captions",
        )
        widgets = {
            "handedness": forms.RadioSelect,
            "age_band": forms.RadioSelect,
            "practice_place": forms.RadioSelect,
            "goals": forms.Textarea(attrs={"rows": 3}),
            "flight": forms.RadioSelect,
            "height": forms.RadioSelect,
            "strike": forms.RadioSelect,
        }
        labels = {
            "handedness": _("Which way round do you play?"),
            "age_band": _("How old are you?"),
            "goals": _("What do you want from these lessons?"),
            "usual_miss": _("Anything else about your bad shots?"),
            "practice_place": _("Where can you practise?"),
            "needs_captions": _("I would rather read than listen."),
        }

    field_order = ("handedness", "stature", "age_band")

    def __init__(self, *args: Any, shown_stature: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["stature"].initial = shown_stature
        draw_ball_fields(self)
        hands = [("right", _("right-handed")), ("left", _("left-handed"))]
        set_choices(self, "handedness", hands)
        for name in ("age_band", "practice_place"):
            self.fields[name].required = True
        set_choices(self, "age_band", Student.AgeBand.choices)
        set_choices(self, "practice_place", Student.Place.choices)
        if not self.instance.is_minor and self.instance.joined_at is None:
            set_choices(self, "age_band", Student.AgeBand.choices[1:])

    # The contents of the page: where a question begins, in a word or two.
    JUMPS = (
        ("handedness", _("Hand")),
        ("stature", _("Height")),
        ("age_band", _("Age")),
        ("goals", _("Your aim")),
        ("flight", _("Your bad shot")),
        ("practice_place", _("Where you practise")),
        ("needs_captions", _("Read or listen")),
    )

    @property
    def jumps(self) -> list[tuple[forms.BoundField, Any]]:
        return [(self[name], label) for name, label in self.JUMPS if name in self.fields]

    def facts(self) -> dict[str, Any]:
        data = dict(self.cleaned_data)
        data["stature_cm"] = data.pop("stature")[0]
        return data

    @property
    def units(self) -> str:
        return str(self.cleaned_data["stature"][1])


class ConfirmForm(forms.Form):
    """Stature and age band, asked again each quarter."""

    stature = StatureField(
        label=_("How tall now?"), widget=forms.TextInput(attrs={"class": "short"})
    )
    age_band = forms.ChoiceField(
        label=_("How old?"), choices=Student.AgeBand.choices, widget=forms.RadioSelect
    )

    def facts(self) -> dict[str, Any]:
        return {
            "stature_cm": self.cleaned_data["stature"][0],
            "age_band": self.cleaned_data["age_band"],
        }
