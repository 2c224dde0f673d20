"""Signing in, and what belongs to an account rather than to a lesson."""

from __future__ import annotations

from allauth.account.decorators import reauthentication_required
from allauth.mfa.utils import is_mfa_enabled
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from coaching.people import access, queries
from coaching.people.access import user_of
from coaching.people.accounts import prove_address
from coaching.people.errors import LessonError
from coaching.people.forms import FoundForm, SettingsForm, SetupForm, TokenForm
from coaching.people.models import User
from coaching.people.services import joining, studio
from coaching.people.services.tokens import make_token, remove_token


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, also when it is empty; None when the page is only looked at."""
    return request.POST if request.method == "POST" else None


def enter(request: HttpRequest, user: User) -> None:
    """Sign `user` in, in his own language."""
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    request.session[settings.LANGUAGE_COOKIE_NAME] = user.language


def setup(request: HttpRequest) -> HttpResponse:
    """Found the first studio of this installation."""
    if not queries.may_create_first_studio(request.user):
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
                user_of(request)
                if signed_in
                else joining.open_account(
                    name=data["name"],
                    email=data["email"],
                    password=data["password"],
                    time_zone=data["time_zone"],
                )
            )
            studio.create_studio(name=data["studio"], owner=user)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            if not signed_in:
                prove_address(user)  # whoever sets the installation up is its owner
            enter(request, user)
            messages.success(request, _("Your studio stands. Invite your first student."))
            return redirect("people:invite")
    return render(request, "people/setup.html", {"form": form}, status=400 if form.errors else 200)


@login_required
def start(request: HttpRequest) -> HttpResponse:
    """For somebody who belongs to no studio yet."""
    return render(
        request,
        "people/start.html",
        {"setup_is_open": queries.may_create_first_studio(request.user)},
    )


@login_required
def profile(request: HttpRequest) -> HttpResponse:
    """`You`: how the pages look and speak, and the ways to what is kept of you."""
    user = user_of(request)
    initial = {
        "name": user.name,
        "units": user.units,
        "language": user.language,
        "time_zone": user.time_zone,
        "keys": user.preferences.get("keys", True),
    }
    form = SettingsForm(posted(request), initial=initial)
    if not access.studios(user).exists():
        del form.fields["keys"]  # students have no review room
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        user.name, user.units = data["name"], data["units"]
        user.language = data.get("language", user.language)
        user.time_zone = data["time_zone"]
        user.preferences = {**user.preferences, "keys": data.get("keys", True)}
        user.save(update_fields=["name", "units", "language", "time_zone", "preferences"])
        request.session[settings.LANGUAGE_COOKIE_NAME] = user.language
        messages.success(request, _("Saved."))
        return redirect("people:profile")
    wards = list(queries.wards_of(user))
    context = {
        "form": form,
        "records": access.acts_as(user).filter(user=user).select_related("studio"),
        "minors": wards,
        "memberships": user.memberships.select_related("studio"),
        "has_proved_address": queries.has_proved_address(user),
        "has_second_step": is_mfa_enabled(user),
        "lacks_second_step": queries.lacks_second_step(user),
    }
    return render(request, "people/profile.html", context, status=400 if form.errors else 200)


@login_required
@reauthentication_required(allow_get=True)  # type: ignore[untyped-decorator]  # ships no types
def tokens(request: HttpRequest) -> HttpResponse:
    """The keys of programs that act as this person: made, listed, removed.

    A new key counts as a fresh sign-in, so it takes one.
    """
    form = TokenForm(posted(request))
    made = ""
    if request.method == "POST" and form.is_valid():
        _row, made = make_token(user=user_of(request), name=form.cleaned_data["name"], by_form=True)
        form = TokenForm()
    context = {"form": form, "made": made, "tokens": queries.living_tokens(user_of(request))}
    return render(request, "people/tokens.html", context, status=400 if form.errors else 200)


@login_required
@require_POST
def token_remove(request: HttpRequest, pk: int) -> HttpResponse:
    remove_token(token=get_object_or_404(user_of(request).api_tokens, pk=pk), by=user_of(request))
    messages.success(request, _("The key no longer works."))
    return redirect("people:tokens")
