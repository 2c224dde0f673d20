"""The studio's own pages: who works here, what is promised, how it looks, what was done."""

from __future__ import annotations

from collections.abc import Mapping

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms.models import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching.people import access, audit, queries
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.mail import wrote_to
from coaching.people.models import Invitation, Membership, Studio
from coaching.people.services.logo import keep_logo, remove_logo
from coaching.people.services.studio import (
    add_holiday,
    change_role,
    change_studio,
    invite_member,
    remove_holiday,
    remove_member,
)
from coaching.people.studio_forms import HolidayForm, MemberForm, PromiseForm, StudioForm
from coaching.people.views.account import enter, posted

LOG_ROWS = 200


@login_required
def studio(request: HttpRequest, pk: int) -> HttpResponse:
    """The studio as its owner runs it."""
    place = access.studio_own(request.user, pk)
    form = StudioForm(posted(request), initial=model_to_dict(place))
    if request.method == "POST" and form.is_valid():
        change_studio(studio=place, by=user_of(request), **form.cleaned_data)
        messages.success(request, _("Saved."))
        return redirect("people:studio", place.pk)
    return _studio_page(request, place, form=form)


def _studio_page(
    request: HttpRequest, place: Studio, *, status: int = 0, **more: object
) -> HttpResponse:
    now = timezone.now()
    context = {
        "studio": place,
        "members": queries.staff_of(place),
        "invitations": place.invitations.filter(
            kind=Invitation.Kind.MEMBER,
            used_at__isnull=True,
            withdrawn_at__isnull=True,
            expires_at__gt=now,
        ),
        "form": StudioForm(initial=model_to_dict(place)),
        "member_form": MemberForm(),
        "roles": Membership.Role.choices,
    } | more
    return render(request, "people/studio.html", context, status=status or _status(more))


def _status(shown: Mapping[str, object]) -> int:
    """400 when a form among what is shown was refused, else 200."""
    return 400 if any(getattr(form, "errors", None) for form in shown.values()) else 200


@login_required
@require_POST
def logo(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the chosen picture, or with `remove` show none any more."""
    place = access.studio_own(request.user, pk)
    if request.POST.get("remove"):
        remove_logo(studio=place, by=user_of(request))
        messages.success(request, _("Removed."))
        return redirect("people:studio", place.pk)
    try:
        picture = request.FILES.get("picture")
        keep_logo(studio=place, by=user_of(request), picture=picture)
    except LessonError as error:
        return _studio_page(request, place, status=error.status, logo_trouble=error.sentence)
    messages.success(request, _("Saved."))
    return redirect("people:studio", place.pk)


@login_required
@require_POST
def member_invite(request: HttpRequest, pk: int) -> HttpResponse:
    place = access.studio_own(request.user, pk)
    form = MemberForm(request.POST)
    if form.is_valid():
        try:
            invite_member(studio=place, by=user_of(request), **form.cleaned_data)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, wrote_to(form.cleaned_data["email"]))
            return redirect("people:studio", place.pk)
    return _studio_page(request, place, member_form=form)


@login_required
@require_POST
def member_role(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    place = access.studio_own(request.user, pk)
    membership = get_object_or_404(place.memberships, pk=member)
    role = request.POST.get("role", "")
    if role not in Membership.Role.values:
        raise LessonError(_("Choose what they do: owner, coach or assistant."))
    change_role(membership=membership, by=user_of(request), role=role)
    if membership.user_id == request.user.pk:
        enter(request, membership.user)  # the own session is void too
        return redirect("people:profile")
    return redirect("people:studio", place.pk)


@login_required
@require_POST
def member_remove(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    place = access.studio_own(request.user, pk)
    membership = get_object_or_404(place.memberships, pk=member)
    remove_member(membership=membership, by=user_of(request))
    if membership.user_id == request.user.pk:
        enter(request, membership.user)
        return redirect("home")
    return redirect("people:studio", place.pk)


@require_safe
@login_required
def log(request: HttpRequest, pk: int) -> HttpResponse:
    """Who saw and changed what, newest first: the owner's to read, nobody's to change."""
    place = access.studio_own(request.user, pk)
    rows = audit.of_studio(place).select_related("by", "student")[:LOG_ROWS]
    return render(request, "people/studio_log.html", {"studio": place, "log": rows})


@require_safe
@login_required
def holidays(request: HttpRequest, pk: int) -> HttpResponse:
    """What is promised, and days off: read by everybody who teaches here."""
    return _promise_page(request, access.studio_teach(request.user, pk))


@login_required
@require_POST
def promise(request: HttpRequest, pk: int) -> HttpResponse:
    """Hours, days and zone, which are the owner's to say."""
    place = access.studio_own(request.user, pk)
    form = PromiseForm(request.POST)
    if form.is_valid():
        change_studio(studio=place, by=user_of(request), **form.cleaned_data)
        messages.success(request, _("Saved. What is on its way is promised anew."))
        return redirect("people:holidays", place.pk)
    return _promise_page(request, place, form=form)


def _promise_page(request: HttpRequest, place: Studio, **forms: object) -> HttpResponse:
    today = timezone.localdate(timezone=queries.studio_zone(place))
    said = model_to_dict(place) | {"working_days": list(place.working_days)}
    context = {
        "studio": place,
        "owns": access.works_in(request.user, place.pk, access.OWNERS),
        "holidays": place.holidays.filter(ends_on__gte=today).order_by("starts_on"),
        "holiday_form": HolidayForm(),
        "form": PromiseForm(initial=said),
    } | forms
    return render(request, "people/holidays.html", context, status=_status(forms))


@login_required
@require_POST
def holiday_add(request: HttpRequest, pk: int) -> HttpResponse:
    place = access.studio_teach(request.user, pk)
    form = HolidayForm(request.POST)
    if form.is_valid():
        try:
            add_holiday(studio=place, by=user_of(request), **form.cleaned_data)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, _("Promised times stand still on these days."))
            return redirect("people:holidays", place.pk)
    return _promise_page(request, place, holiday_form=form)


@login_required
@require_POST
def holiday_remove(request: HttpRequest, pk: int, holiday: int) -> HttpResponse:
    place = access.studio_teach(request.user, pk)
    remove_holiday(holiday=get_object_or_404(place.holidays, pk=holiday), by=user_of(request))
    return redirect("people:holidays", place.pk)
