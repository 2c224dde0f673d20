"""What people are asked, in the order of the job."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import validate_password
from django.utils.translation import gettext_lazy as _

from coaching.people.models import BodyNote, Consent, Membership, Region, Student, User
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
PURPOSES = {
    Consent.Purpose.STORE: _("Store and measure the videos."),
    Consent.Purpose.SHARE_COACH: _("Show them to the coaches of this studio, and to nobody else."),
}


class SignInForm(AuthenticationForm):
    username = forms.EmailField(
        label=_("E-mail"), widget=forms.EmailInput(attrs={"autocomplete": "username"})
    )
    error_messages = {
        "invalid_login": _(
            "We don’t know this address with this password: try again, or set a new password."
        ),
        "inactive": _("This account is closed: ask your coach."),
    }

    def clean_username(self) -> str:
        return str(self.cleaned_data["username"]).strip().lower()


class AccountForm(forms.Form):
    """A new account; left out for somebody who is signed in."""

    name = forms.CharField(
        label=_("Your name"), max_length=80, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    email = forms.EmailField(
        label=_("Your e-mail"), widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
    password = forms.CharField(
        label=_("A password"),
        help_text=_("Eight letters or more; three words in a row do well."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("password"):
            person = User(name=data.get("name", ""), email=data.get("email", ""))
            try:
                validate_password(data["password"], person)
            except forms.ValidationError as error:
                self.add_error("password", error)
        return data


class AgeQuestionForm(forms.Form):
    adult = forms.ChoiceField(
        label=_("How old are you?"),
        choices=[("yes", _("18 or over")), ("no", _("under 18"))],
        widget=forms.RadioSelect,
    )


class GuardianContactForm(forms.Form):
    name = forms.CharField(label=_("Your guardian’s name"), max_length=80)
    email = forms.EmailField(
        label=_("Your guardian’s own e-mail"),
        help_text=_("We write to this address. It must not be yours."),
    )


class ConsentForm(forms.Form):
    """Nothing is ticked before the person ticks it."""

    purposes = forms.MultipleChoiceField(
        label=_("You agree that we may"),
        choices=list(PURPOSES.items()),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class GuardianForm(ConsentForm):
    is_guardian = forms.BooleanField(label=_("I am a parent or the legal guardian."))


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
            self.fields[f"{region}_words"] = forms.CharField(
                label=_("Which movement?"), max_length=300, required=False
            )

    def rows(self) -> list[dict[str, Any]]:
        """The fields of each region together, for the page."""
        return [
            {
                "region": region.value,
                "there": self[region],
                "more": [self[f"{region}_{part}"] for part in ("kind", "side", "words")],
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
                "words": data[f"{region}_words"],
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


class AboutForm(forms.ModelForm):
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
            "usual_miss",
            "practice_place",
            "needs_captions",
        )
        widgets = {
            "handedness": forms.RadioSelect,
            "age_band": forms.RadioSelect,
            "practice_place": forms.RadioSelect,
            "goals": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {
            "handedness": _("Which way round do you play?"),
            "age_band": _("How old are you?"),
            "goals": _("What do you want from these lessons?"),
            "usual_miss": _("What does your usual bad shot do?"),
            "practice_place": _("Where can you practise?"),
            "needs_captions": _("I would rather read than listen."),
        }

    field_order = ("handedness", "stature", "age_band")

    def __init__(self, *args: Any, shown_stature: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["stature"].initial = shown_stature
        self.fields["handedness"].choices = [
            ("right", _("right-handed")),
            ("left", _("left-handed")),
        ]
        for name in ("age_band", "practice_place"):
            field = self.fields[name]
            field.required = True
            field.choices = self.Meta.model._meta.get_field(name).choices
        if not self.instance.is_minor and self.instance.joined_at is None:
            self.fields["age_band"].choices = Student.AgeBand.choices[1:]

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


class InviteForm(forms.Form):
    name = forms.CharField(label=_("The student’s name"), max_length=80)
    email = forms.EmailField(
        label=_("E-mail"),
        required=False,
        help_text=_("We write the invitation to it. Without one you hand the link over yourself."),
    )


class StudentForm(forms.ModelForm):
    class Meta:
        model = Student
        fields = ("name", "email")
        labels = {"name": _("Name"), "email": _("E-mail")}


class StudioForm(forms.Form):
    name = forms.CharField(label=_("Name of the studio"), max_length=80)
    turnaround_hours = forms.IntegerField(
        label=_("You answer within, in hours"),
        min_value=1,
        max_value=336,
        help_text=_("The student sees this as a promised time."),
    )


class SetupForm(AccountForm):
    studio = forms.CharField(label=_("Name of your studio"), max_length=80)
    field_order = ("studio", "name", "email", "password")


class FoundForm(forms.Form):
    """For somebody who has an account already."""

    studio = forms.CharField(label=_("Name of your studio"), max_length=80)


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


class SettingsForm(forms.Form):
    name = forms.CharField(label=_("Your name"), max_length=80)
    units = forms.ChoiceField(
        label=_("Lengths in"), choices=User.Units.choices, widget=forms.RadioSelect
    )
    language = forms.ChoiceField(label=_("Language"), widget=forms.RadioSelect)
    keys = forms.BooleanField(
        label=_("Single keys work as shortcuts in the review room."), required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["language"].choices = settings.LANGUAGES
        if len(settings.LANGUAGES) == 1:
            del self.fields["language"]


class EraseForm(forms.Form):
    """Typing the name keeps a finger from slipping."""

    name = forms.CharField(label=_("Type the student’s name"), max_length=80)

    def __init__(self, *args: Any, student: Student, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.student = student

    def clean_name(self) -> str:
        name = str(self.cleaned_data["name"]).strip()
        if name.casefold() != self.student.name.strip().casefold():
            raise forms.ValidationError(_("That is another name: type it as it stands above."))
        return name
