"""The thread, and a lesson on paper."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from coaching.lessons import queries, services
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.queries import guardians_of


def _page(
    request: HttpRequest, student: Student, *, words: str = "", trouble: str = "", status: int = 200
) -> HttpResponse:
    thread = services.thread_of(student)
    before = request.GET.get("before", "")
    page = queries.page_of(
        thread, user=request.user, before=int(before) if before.isdecimal() else None
    )
    services.mark_seen(thread=thread, user=request.user)
    context = {
        "student": student,
        "page": page,
        "is_staff": access.is_staff_of(request.user, student),
        "can_write": _can_write(request, student),
        "guardians": guardians_of(student) if student.is_minor else [],
        "words": words,
        "trouble": trouble,
    }
    return render(request, "lessons/thread.html", context, status=status)


def _can_write(request: HttpRequest, student: Student) -> bool:
    """Staff who teach, the student and the guardians; an assistant reads."""
    teaches = access.is_staff_of(request.user, student, roles=access.TEACHING)
    return teaches or access.acts_as(request.user).filter(pk=student.pk).exists()


@require_safe
@login_required
def thread(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything that happened, in order of time, like a logbook."""
    return _page(request, access.student_read(request.user, pk))


@require_POST
@login_required
def send(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_read(request.user, pk)
    if not _can_write(request, student):
        student = access.student_teach(request.user, pk)
    words = request.POST.get("words", "")
    try:
        entry = services.send_message(student=student, author=request.user, words=words)
    except LessonError as error:
        return _page(request, student, words=words, trouble=error.sentence, status=error.status)
    return redirect(f"{reverse('lessons:thread', args=[pk])}#entry-{entry.pk}")


@require_safe
@login_required
def summary(request: HttpRequest, pk: int) -> HttpResponse:
    """The standing lesson on one sheet of paper."""
    student = access.student_read(request.user, pk)
    return render(
        request, "lessons/summary.html", {"student": student} | queries.summary_of(student)
    )
