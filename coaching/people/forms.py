"""What people are asked, in the order of the job."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from allauth.account.forms import LoginForm, ResetPasswordKeyForm
from allauth.account.models import EmailAddress
from django import forms
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.utils.translation import gettext_lazy as _

from coaching.people.accounts import prove_address
from coaching.people.errors import LessonError
from coaching.people.models import Student, User, validate_name
from coaching.people.names import plain_name
from coaching.people.purposes import WORDING, Wording
from coaching.people.zones import zone_label, zone_names


def set_choices(form: forms.BaseForm, name: str, choices: Iterable[Any]) -> None:
    """Offer these in the field `name`, which is one of choices."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)
    field.choices = list(choices)


class SignInForm(LoginForm):  # type: ignore[misc]  # ships no types
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["login"].label = _("E-mail")
        self.fields["login"].widget.attrs = {"autocomplete": "username webauthn"}
        self.fields["password"].widget.attrs.pop("placeholder", None)
        self.fields["password"].help_text = ""

    def clean_login(self) -> str:
        return str(super().clean_login()).lower()


class NewPasswordForm(ResetPasswordKeyForm):  # type: ignore[misc]
    """The link to this form was mailed to the account's address, which is proved by it."""

    def save(self) -> None:
        super().save()
        if not EmailAddress.objects.filter(user=self.user).exclude(email=self.user.email).exists():
            prove_address(self.user)


class AccountForm(forms.Form):
    """A new account; left out for somebody who is signed in."""

    name = forms.CharField(
        label=_("Your name"),
        max_length=80,
        validators=[validate_name],
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
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
    # Filled by the page's script with the browser's own zone; another value is left out.
    time_zone = forms.CharField(required=False, widget=forms.HiddenInput, max_length=64)

    def clean_time_zone(self) -> str:
        name = str(self.cleaned_data["time_zone"])
        return name if name in zone_names() else ""

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
    name = forms.CharField(
        label=_("Your guardian’s name"), max_length=80, validators=[validate_name]
    )
    email = forms.EmailField(
        label=_("Your guardian’s own e-mail"), help_text=_("It must not be yours.")
    )


class Switches(forms.CheckboxSelectMultiple):
    """A switch for each choice, described by the words below it."""

    def create_option(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        option = super().create_option(*args, **kwargs)
        named = {"role": "switch", "aria-describedby": f"{option['attrs']['id']}_what"}
        option["attrs"] = {**option["attrs"], **named}
        return option


class ConsentForm(forms.Form):
    """Each purpose for itself; nothing is on before the person switches it on."""

    purposes = forms.MultipleChoiceField(
        label=_("What is agreed to"),
        choices=[(purpose, wording.title) for purpose, wording in WORDING.items()],
        widget=Switches,
        required=False,
    )

    def rows(self) -> list[tuple[Any, Wording]]:
        """Each switch with its words."""
        return [(option, WORDING[option.data["value"]]) for option in self["purposes"]]


class AskedForm(ConsentForm):
    """Asked for the first time: agreeing to nothing is said by the other button."""

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not data.get("purposes") and "purposes" not in self.errors:
            raise forms.ValidationError(
                _("Nothing is switched on. Switch on what you agree to, or press “I do not agree”.")
            )
        return data


class GuardianForm(AskedForm):
    is_guardian = forms.BooleanField(label=_("I am a parent or the legal guardian."))


class InviteForm(forms.Form):
    name = forms.CharField(label=_("The student’s name"), max_length=80, validators=[validate_name])
    email = forms.EmailField(
        label=_("E-mail"),
        required=False,
        help_text=_("Without one you hand the link over yourself."),
    )


class StudentForm(forms.ModelForm):  # type: ignore[type-arg]  # not subscriptable when it runs
    class Meta:
        model = Student
        fields = ("name", "email")
        labels = {"name": _("Name"), "email": _("E-mail")}


class SetupForm(AccountForm):
    studio = forms.CharField(label=_("Name of your studio"), max_length=80)
    field_order = ("studio", "name", "email", "password")


class FoundForm(forms.Form):
    """For somebody who has an account already."""

    studio = forms.CharField(label=_("Name of your studio"), max_length=80)


class SettingsForm(forms.Form):
    name = forms.CharField(label=_("Your name"), max_length=80, validators=[validate_name])
    units = forms.ChoiceField(
        label=_("Lengths in"), choices=User.Units.choices, widget=forms.RadioSelect
    )
    language = forms.ChoiceField(label=_("Language"), widget=forms.RadioSelect)
    time_zone = forms.ChoiceField(
        label=_("Your time zone"),
        required=False,
        help_text=_("Days and times on the pages and in e-mails are shown by this clock."),
    )
    keys = forms.BooleanField(
        label=_("Single keys work as shortcuts in the review room."), required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "language", settings.LANGUAGES)
        zones = [(name, zone_label(name)) for name in zone_names()]
        set_choices(self, "time_zone", [("", _("as in the studio")), *zones])
        if len(settings.LANGUAGES) == 1:
            del self.fields["language"]

    def clean_name(self) -> str:
        try:
            return plain_name(self.cleaned_data["name"])
        except LessonError as error:
            raise forms.ValidationError(error.sentence) from None


class TokenForm(forms.Form):
    name = forms.CharField(
        label=_("What is it for?"),
        max_length=80,
        help_text=_("For example the name of the program that uses it."),
    )


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
