"""Signing in, and what belongs to an account rather than to a lesson."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, views
from django.contrib.auth.decorators import login_required
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.translation import gettext as _

from coaching.people import access, queries, services
from coaching.people.errors import LessonError
from coaching.people.forms import FoundForm, SettingsForm, SetupForm, SignInForm
from coaching.people.models import User

WRONG_PASSWORDS, FORGET_AFTER_S = 10, 900
LETTERS_AN_HOUR = 5


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, also when it is empty; None when the page is only looked at."""
    return request.POST if request.method == "POST" else None


def enter(request: HttpRequest, user: User) -> None:
    """Sign `user` in, in his own language."""
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    request.session[settings.LANGUAGE_COOKIE_NAME] = user.language


class SignIn(views.LoginView):
    """Ten wrong passwords for one address close it for a quarter of an hour."""

    template_name = "people/login.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def post(self, request, *args, **kwargs):  # type: ignore[no-untyped-def]
        if cache.get(self._key(), 0) >= WRONG_PASSWORDS:
            raise LessonError(
                _("Too many wrong passwords: wait a quarter of an hour, or set a new password."),
                code="too_many",
                status=429,
            )
        return super().post(request, *args, **kwargs)

    def form_valid(self, form):  # type: ignore[no-untyped-def]
        cache.delete(self._key())
        enter(self.request, form.get_user())
        return redirect(self.get_success_url())

    def form_invalid(self, form):  # type: ignore[no-untyped-def]
        cache.set(self._key(), cache.get(self._key(), 0) + 1, FORGET_AFTER_S)
        return super().form_invalid(form)

    def get_context_data(self, **kwargs):  # type: ignore[no-untyped-def]
        return super().get_context_data(setup_is_open=_may_found(self.request), **kwargs)

    def _key(self) -> str:
        address = self.request.POST.get("username", "").strip().lower()
        return f"sign-in:{hash((address, self.request.META.get('REMOTE_ADDR')))}"


class ForgotPassword(views.PasswordResetView):
    """At most five letters an hour to one address, whoever asks."""

    template_name = "people/password_forgot.html"
    email_template_name = "people/mail/password.txt"
    subject_template_name = "people/mail/password_subject.txt"
    success_url = reverse_lazy("people:password_mailed")

    def form_valid(self, form):  # type: ignore[no-untyped-def]
        key = f"forgot:{hash(form.cleaned_data['email'].lower())}"
        sent = cache.get(key, 0)
        if sent >= LETTERS_AN_HOUR:
            return redirect(self.success_url)
        cache.set(key, sent + 1, 3600)
        return super().form_valid(form)


class PasswordMailed(views.PasswordResetDoneView):
    template_name = "people/password_mailed.html"


class NewPassword(views.PasswordResetConfirmView):
    template_name = "people/password_new.html"
    success_url = reverse_lazy("people:login")

    def form_valid(self, form):  # type: ignore[no-untyped-def]
        messages.success(self.request, _("Your new password is set: sign in with it."))
        return super().form_valid(form)


class ChangePassword(views.PasswordChangeView):
    template_name = "people/password_change.html"
    success_url = reverse_lazy("people:profile")

    def form_valid(self, form):  # type: ignore[no-untyped-def]
        messages.success(self.request, _("Your new password is set."))
        return super().form_valid(form)


def _may_found(request: HttpRequest) -> bool:
    """The first studio is founded on the page only where the app runs for one machine, or
    by a superuser; elsewhere with `manage.py createstudio`."""
    allowed = settings.EMBEDDED or request.user.is_superuser
    return bool(allowed) and queries.setup_is_open()


def setup(request: HttpRequest) -> HttpResponse:
    """Found the first studio of this installation."""
    if not _may_found(request):
        raise LessonError(
            _("A studio has been founded here: sign in, or ask its owner for an invitation."),
            code="already_set_up",
            status=409,
        )
    signed_in = request.user.is_authenticated
    form = (FoundForm if signed_in else SetupForm)(posted(request))
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            user = (
                request.user
                if signed_in
                else services.open_account(
                    name=data["name"], email=data["email"], password=data["password"]
                )
            )
            services.create_studio(name=data["studio"], owner=user)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            if not signed_in:
                enter(request, user)
            messages.success(request, _("Your studio stands. Invite your first student."))
            return redirect("people:invite")
    return render(request, "people/setup.html", {"form": form}, status=400 if form.errors else 200)


@login_required
def start(request: HttpRequest) -> HttpResponse:
    """For somebody who belongs to no studio yet."""
    return render(request, "people/start.html", {"setup_is_open": _may_found(request)})


@login_required
def profile(request: HttpRequest) -> HttpResponse:
    """`You`: how the pages look and speak, and the ways to what is kept of you."""
    user = request.user
    initial = {
        "name": user.name,
        "units": user.units,
        "language": user.language,
        "keys": user.preferences.get("keys", True),
    }
    form = SettingsForm(posted(request), initial=initial)
    if not access.studios(user).exists():
        del form.fields["keys"]  # students have no review room
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        user.name, user.units = data["name"], data["units"]
        user.language = data.get("language", user.language)
        user.preferences = {**user.preferences, "keys": data.get("keys", True)}
        user.save(update_fields=["name", "units", "language", "preferences"])
        request.session[settings.LANGUAGE_COOKIE_NAME] = user.language
        messages.success(request, _("Saved."))
        return redirect("people:profile")
    wards = list(queries.wards_of(user))
    context = {
        "form": form,
        "records": access.acts_as(user).filter(user=user).select_related("studio"),
        "wards": wards,
        "memberships": user.memberships.select_related("studio"),
    }
    return render(request, "people/profile.html", context, status=400 if form.errors else 200)
