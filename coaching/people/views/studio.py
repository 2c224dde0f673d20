"""Pages about the studio's students: inviting, handing over, leaving."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from coaching import addresses
from coaching.people import access, queries
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.forms import InviteForm, StudentForm
from coaching.people.models import Membership
from coaching.people.services import students
from coaching.people.views.account import posted


def back(request: HttpRequest, otherwise: str, *args: object) -> HttpResponse:
    """To the page a small form stood on, when it named one of ours."""
    target = request.POST.get("next", "")
    ours = url_has_allowed_host_and_scheme(target, {request.get_host()}, request.is_secure())
    if ours and target.startswith("/"):  # anything else might be taken for a name of ours
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
            invitation = students.invite_student(
                studio=studio, by=user_of(request), **form.cleaned_data
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
        fresh = access.student_teach(request.user, pk)  # the form has written into the other
        try:
            students.rename_student(student=fresh, by=user_of(request), **form.cleaned_data)
        except LessonError as error:
            form.add_error("name", error.sentence)
        else:
            messages.success(request, _("Saved."))
            return redirect("people:student_edit", student.pk)
    invitation = queries.open_invitation(student)
    context = {
        "student": student,
        "form": form,
        "invitation": invitation,
        "address": invitation and addresses.page("people:join", invitation.token),
        "guardians": queries.guardians_of(student),
        "guardian_asked": queries.guardian_asked(student) if student.is_minor else None,
        "consents_missing": queries.consents_missing(student),
        "notes": queries.active_body_notes(student),
        "teaches": access.is_staff_of(request.user, student, roles=access.TEACHING),
        "is_owner": access.is_staff_of(request.user, student, roles=(Membership.Role.OWNER,)),
        "colleagues": queries.staff_of(student.studio).filter(role__in=access.TEACHING),
    }
    return render(request, "people/student_edit.html", context, status=400 if form.errors else 200)


@login_required
@require_POST
def new_link(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_teach(request.user, pk)
    students.renew_invitation(student=student, by=user_of(request))
    messages.success(request, _("A new link is ready; the old one no longer works."))
    return redirect("people:student_edit", student.pk)


@login_required
@require_POST
def withdraw_link(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_teach(request.user, pk)
    students.withdraw_invitation(student=student, by=user_of(request))
    messages.success(request, _("The link no longer works."))
    return redirect("people:student_edit", student.pk)


@login_required
@require_POST
def hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """`to` is the account of another coach of the studio."""
    student = access.student_teach(request.user, pk)
    to = request.POST.get("to", "")
    colleague = queries.colleague(student.studio, to)
    if colleague is None:
        raise LessonError(_("Choose who takes the student over."), code="nobody")
    students.hand_over_student(student=student, to=colleague, by=user_of(request))
    messages.success(
        request, _("%(coach)s now teaches %(student)s.") % {"coach": colleague, "student": student}
    )
    return back(request, "people:student_edit", student.pk)


@login_required
@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    students.close_student(student=access.student_teach(user_of(request), pk), by=user_of(request))
    return back(request, "people:student_edit", pk)


@login_required
@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    students.reopen_student(student=access.student_teach(user_of(request), pk), by=user_of(request))
    return back(request, "people:student_edit", pk)
