"""The thread, and a lesson on paper."""

from __future__ import annotations

from datetime import timedelta

from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.dashboard import thread
from coaching.lessons import services
from coaching.lessons.access import entry_teach
from coaching.offline import is_for_later
from coaching.people import access, once, ties
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.queries import guardians_of
from coaching.people.views.studio import back


def _page(
    request: HttpRequest, student: Student, *, text: str = "", trouble: str = "", status: int = 200
) -> HttpResponse:
    log = services.thread_of(student)
    before = request.GET.get("before", "")
    page = thread.page_of(log, user=user_of(request), before=numbers.row_key(before))
    if not (page.is_seen or is_for_later(request)):
        services.mark_seen(thread=log, user=user_of(request))
    bound = ties.of(request.user)
    is_staff = bound.is_staff(student)
    context = {
        "student": student,
        "page": page,
        "is_staff": is_staff,
        "beside": thread.beside_of(student) if is_staff else None,
        "can_write": bound.is_staff(student, access.TEACHING) or bound.acts_for(student),
        "guardians": guardians_of(student) if student.is_minor else [],
        "text": text,
        "trouble": trouble,
    }
    return render(request, "dashboard/thread.html", context, status=status)


@require_safe
@login_required
def thread_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything that happened, in order of time, like a logbook."""
    return _page(request, ties.student_read(request.user, pk))


@require_POST
@login_required
def send(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_read(request.user, pk)
    text = request.POST.get("text", "")
    user, post = user_of(request), request.POST
    try:
        with transaction.atomic():
            if not once.first_time(user, post.get("key", "")):
                return redirect("thread", pk)
            entry = services.send_message(
                student=student, author=user, text=text, at=once.moment(post.get("at", ""))
            )
    except LessonError as error:
        return _page(request, student, text=text, trouble=error.sentence, status=error.status)
    services.mark_seen(thread=entry.thread, user=user_of(request))
    return back(request, f"{reverse('thread', args=[pk])}#entry-{entry.pk}")


@require_safe
@login_required
def summary(request: HttpRequest, pk: int) -> HttpResponse:
    """The standing lesson on one sheet of paper."""
    student = access.student_read(request.user, pk)
    return render(
        request, "dashboard/summary.html", {"student": student} | thread.summary_of(student)
    )


@require_POST
@login_required
def needs_no_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """A message, and those before it, wait for no answer."""
    services.need_no_answer(entry=entry_teach(request.user, pk), by=user_of(request))
    return back(request, "waiting")


@require_POST
@login_required
def put_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Put one waiting thing off by `days`; without, it comes back."""
    student = access.student_teach(request.user, pk)
    thing, days = request.POST.get("thing", ""), request.POST.get("days", "")
    if not days:
        services.bring_back(student=student, by=user_of(request), thing=thing)
    else:
        until = timezone.now() + timedelta(days=_days(days))
        services.put_off(student=student, thing=thing, until=until, by=user_of(request))
    return back(request, "waiting")


def _days(text: str) -> int:
    try:
        return numbers.whole(text, low=1, high=366)
    except ValueError:
        raise LessonError(
            _("Choose a day from tomorrow to a year from now."), code="until"
        ) from None
