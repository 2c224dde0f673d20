"""The studio's own pages: students, colleagues, days off."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from coaching.people import access, queries, services
from coaching.people.errors import LessonError
from coaching.people.forms import HolidayForm, InviteForm, MemberForm, StudentForm, StudioForm
from coaching.people.models import Invitation, Membership, Studio, User
from coaching.people.views.account import posted


def back(request: HttpRequest, otherwise: str, *args: object) -> HttpResponse:
    """To the page a small form stood on, when it named one of ours."""
    target = request.POST.get("next", "")
    if url_has_allowed_host_and_scheme(target, {request.get_host()}, request.is_secure()):
        return redirect(target)
    return redirect(otherwise, *args)


@login_required
def invite(request: HttpRequest) -> HttpResponse:
    """A new student: a name, and where to send the link."""
    studios = list(access.studios(request.user, access.TEACHING).order_by("name"))
    if not studios:
        raise LessonError(_("Only somebody who teaches in a studio invites students."), status=404)
    form = InviteForm(posted(request))
    if request.method == "POST" and form.is_valid():
        studio = next((s for s in studios if str(s.pk) == request.POST.get("studio")), studios[0])
        try:
            invitation = services.invite_student(
                studio=studio, by=request.user, **form.cleaned_data
            )
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            return redirect("people:student_edit", invitation.student_id)
    context = {"form": form, "studios": studios}
    return render(request, "people/invite.html", context, status=400 if form.errors else 200)


@login_required
def student_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's name and way in, and the ways to the whole record. An assistant reads."""
    fetch = access.student_prepare if request.method == "GET" else access.student_teach
    student = fetch(request.user, pk)
    form = StudentForm(posted(request), instance=student)
    if request.method == "POST" and form.is_valid():
        services.rename_student(student=student, **form.cleaned_data)
        messages.success(request, _("Saved."))
        return redirect("people:student_edit", student.pk)
    invitation = queries.open_invitation(student)
    context = {
        "student": student,
        "form": form,
        "invitation": invitation,
        "address": invitation
        and request.build_absolute_uri(reverse("people:join", args=[invitation.token])),
        "guardians": queries.guardians_of(student),
        "guardian_asked": queries.guardian_asked(student) if student.is_minor else None,
        "consents_missing": queries.consents_missing(student),
        "notes": queries.standing_body_notes(student),
        "teaches": access.is_staff_of(request.user, student, roles=access.TEACHING),
        "is_owner": access.is_staff_of(request.user, student, roles=(Membership.Role.OWNER,)),
        "colleagues": queries.staff_of(student.studio).filter(role__in=access.TEACHING),
    }
    return render(request, "people/student_edit.html", context, status=400 if form.errors else 200)


@login_required
@require_POST
def new_link(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_teach(request.user, pk)
    services.open_door(student=student, by=request.user)
    messages.success(request, _("A new link is ready; the old one no longer works."))
    return redirect("people:student_edit", student.pk)


@login_required
@require_POST
def withdraw_link(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_teach(request.user, pk)
    services.withdraw_invitation(student=student)
    messages.success(request, _("The link no longer works."))
    return redirect("people:student_edit", student.pk)


@login_required
@require_POST
def snooze(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a row off: `days`, or `until` (a date); neither brings it back."""
    student = access.student_teach(request.user, pk)
    days, until = request.POST.get("days", ""), parse_date(request.POST.get("until", ""))
    when = None
    if days.isdecimal() and 0 < int(days) <= 366:
        when = timezone.now() + timedelta(days=int(days))
    elif until is not None:
        when = timezone.make_aware(datetime.combine(until, time.min))
    services.snooze_student(student=student, until=when, by=request.user)
    return back(request, "desk:waiting")


@login_required
@require_POST
def hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """`to` is the account of another coach of the studio."""
    student = access.student_teach(request.user, pk)
    to = request.POST.get("to", "")
    colleague = User.objects.filter(pk=int(to)).first() if to.isdecimal() else None
    if colleague is None:
        raise LessonError(_("Choose who takes the student over."), code="nobody")
    services.hand_over_student(student=student, to=colleague, by=request.user)
    messages.success(
        request, _("%(coach)s now teaches %(student)s.") % {"coach": colleague, "student": student}
    )
    return back(request, "people:student_edit", student.pk)


@login_required
@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    services.close_student(student=access.student_teach(request.user, pk))
    return back(request, "people:student_edit", pk)


@login_required
@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    services.reopen_student(student=access.student_teach(request.user, pk))
    return back(request, "people:student_edit", pk)


@login_required
def studio(request: HttpRequest, pk: int) -> HttpResponse:
    """The studio as its owner runs it."""
    place = access.studio_own(request.user, pk)
    initial = {"name": place.name, "turnaround_hours": place.turnaround_hours}
    form = StudioForm(posted(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        services.change_studio(studio=place, **form.cleaned_data)
        messages.success(request, _("Saved."))
        return redirect("people:studio", place.pk)
    return _studio_page(request, place, form=form)


def _studio_page(request: HttpRequest, place: Studio, **forms: object) -> HttpResponse:
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
        "holidays": place.holidays.filter(ends_on__gte=now.date()).order_by("starts_on"),
        "form": StudioForm(
            initial={"name": place.name, "turnaround_hours": place.turnaround_hours}
        ),
        "member_form": MemberForm(),
        "holiday_form": HolidayForm(),
    } | forms
    wrong = any(getattr(form, "errors", None) for form in forms.values())
    return render(request, "people/studio.html", context, status=400 if wrong else 200)


@login_required
@require_POST
def member_invite(request: HttpRequest, pk: int) -> HttpResponse:
    place = access.studio_own(request.user, pk)
    form = MemberForm(request.POST)
    if form.is_valid():
        try:
            services.invite_member(studio=place, by=request.user, **form.cleaned_data)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, _("We wrote to %s.") % form.cleaned_data["email"])
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
    services.change_role(membership=membership, role=role)
    return redirect("people:studio", place.pk)


@login_required
@require_POST
def member_remove(request: HttpRequest, pk: int, member: int) -> HttpResponse:
    place = access.studio_own(request.user, pk)
    services.remove_member(membership=get_object_or_404(place.memberships, pk=member))
    return redirect("people:studio", place.pk)


@login_required
@require_POST
def holiday_add(request: HttpRequest, pk: int) -> HttpResponse:
    place = access.studio_teach(request.user, pk)
    form = HolidayForm(request.POST)
    if form.is_valid():
        try:
            services.add_holiday(studio=place, **form.cleaned_data)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, _("Promised times stand still on these days."))
            return redirect("people:studio", place.pk)
    return _studio_page(request, place, holiday_form=form)


@login_required
@require_POST
def holiday_remove(request: HttpRequest, pk: int, holiday: int) -> HttpResponse:
    place = access.studio_teach(request.user, pk)
    services.remove_holiday(holiday=get_object_or_404(place.holidays, pk=holiday))
    return redirect("people:studio", place.pk)
