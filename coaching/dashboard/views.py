"""Pages that show everything in order. They read; every button posts to its own slice."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.dashboard import queries, rows, undo
from coaching.dashboard import waiting as lists
from coaching.dashboard.bought import balances
from coaching.dashboard.roster import course_of, roster
from coaching.intake.presets import Preset
from coaching.intake.sets import presets_of, send_set
from coaching.lessons.notes import note_on
from coaching.lessons.services import put_off
from coaching.people import access, ties
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Student, StudentTag
from coaching.people.queries import next_step
from coaching.people.services.students import tag_student, untag_student
from coaching.people.views.studio import back
from coaching.practice.access import attempt_teach
from coaching.practice.views.judging import judge_context


@require_safe
@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Send everybody to the one page they need."""
    if access.studios(request.user).exists():
        return redirect("waiting")
    records = list(access.acts_as(request.user)[:2])
    if len(records) == 1:
        return redirect("today", records[0].pk)
    if records:
        return render(request, "dashboard/whose.html", {"students": access.acts_as(request.user)})
    return redirect("people:start")


@require_safe
@login_required
def waiting(request: HttpRequest) -> HttpResponse:
    """The coach's waiting list with one row opened beside it; `part` gives one of the two."""
    asked = request.GET
    taught = ties.of(request.user).taught()
    students = taught.filter(closed_at__isnull=True)
    only_mine, tag = asked.get("whose") == "mine", asked.get("tag", "").strip()
    if only_mine:
        students = students.filter(coach=user_of(request))
    if tag:
        students = students.filter(tags__label=tag)
    text, kind = asked.get("text", "").strip(), asked.get("kind", "")
    number = asked.get("page", "")
    page = lists.page_of(
        students,
        text=text,
        kind=kind,
        number=numbers.row_key(number) or 1,
        at=asked.get("at", ""),
        reader=access.user_of(request),
    )
    if not (text or only_mine or tag):
        lists.keep_count(user_of(request), page.total)
    row = page.opened
    list_url = request.get_full_path() if "at" not in asked else _without_at(request)
    context = {
        "page": page,
        "at": row.key if row else "",
        "opened": "at" in asked,
        "pane": _pane(request, row) if row else None,
        "text": text,
        "kind": kind if kind in (*lists.KINDS, lists.DRAFTS) else "",
        "only_mine": only_mine,
        "tag": tag,
        "is_sifted": text or kind or only_mine or tag,
        "tags": list(access_tags(taught)),
        "colleagues": queries.colleagues(user_of(request)),
        "answered": lists.answered_today(taught),
        "presets": _presets(request),
        "strip_events": STRIP,
        "undoable": undo.undoable(user_of(request)),
        "list_url": list_url,
        "any_students": bool(page.total) or taught.exists(),
    }
    part = {"list": "dashboard/_list.html", "pane": "dashboard/_pane.html"}.get(
        asked.get("part", "")
    )
    return render(request, part or "dashboard/waiting.html", context)


# The moments of a swing that are shown small below an opened clip.
STRIP = ("address", "takeaway", "lead_arm_back", "top", "lead_arm_down", "impact", "finish")


def _presets(request: HttpRequest) -> list[Preset]:
    """What can be asked of several at once: the sets of the studio one works in."""
    return [preset for studio in ties.of(request.user).studios[:1] for preset in presets_of(studio)]


def _without_at(request: HttpRequest) -> str:
    asked = request.GET.copy()
    for name in ("at", "part"):
        asked.pop(name, None)
    return f"{request.path}?{asked.urlencode()}"


def _pane(request: HttpRequest, row: rows.Row) -> dict[str, Any]:
    pane = lists.pane_of(row)
    if row.attempt and access.is_staff_of(request.user, row.student, access.TEACHING):
        pane["judge"] = judge_context(request, attempt_teach(request.user, row.attempt.pk))
    return pane


def access_tags(students: QuerySet[Student]) -> QuerySet[Any]:
    """The tags that these students carry, each once."""
    labels = StudentTag.objects.filter(student__in=students).order_by("label")
    return labels.values_list("label", flat=True).distinct()[:20]


@require_POST
@login_required
def bulk(request: HttpRequest) -> HttpResponse:
    """One act for several rows or their students: put off, tag, or ask for a film."""
    picked = [PICKED.fullmatch(value) for value in request.POST.getlist("students")[:500]]
    things = [(int(m["student"]), m["thing"] or "") for m in picked if m]
    taught = access.students_taught(request.user, access.TEACHING)
    students = list(taught.filter(pk__in={pk for pk, _thing in things}).order_by("name"))
    if not students:
        messages.error(request, _("Pick somebody in the list first."))
        return back(request, "waiting")
    try:
        message = _do_to_all(request, students, things)
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, message)
    return back(request, "waiting")


# What a picked row sends: its student, and its own key when the row itself is meant.
PICKED = re.compile(r"(?P<student>\d{1,18})(?:/(?P<thing>[a-z]{1,12}-\d{1,18}))?")


def _put_all_off(
    request: HttpRequest, students: list[Student], things: list[tuple[int, str]]
) -> str:
    """Each picked row by a day; pain stays where it is."""
    by_pk, until = {s.pk: s for s in students}, timezone.now() + timedelta(days=1)
    n = 0
    for pk, thing in things:
        if pk in by_pk and thing and not thing.startswith("pain-"):
            put_off(student=by_pk[pk], thing=thing, until=until, by=user_of(request))
            n += 1
    return ngettext("%(n)d put off by a day.", "%(n)d put off by a day.", n) % {"n": n}


def _do_to_all(request: HttpRequest, students: list[Student], things: list[tuple[int, str]]) -> str:
    deed, n = request.POST.get("do", ""), len(students)
    if deed == "off":
        return _put_all_off(request, students, things)
    if deed == "tag":
        label = request.POST.get("tag", "")
        for student in students:
            tag_student(by=user_of(request), student=student, label=label)
        return ngettext("%(n)d tagged “%(tag)s”.", "%(n)d tagged “%(tag)s”.", n) % {
            "n": n,
            "tag": label.strip(),
        }
    if deed != "ask":
        raise LessonError(_("Choose what to do with those you picked."), code="no_deed")
    with transaction.atomic():  # all of them, or nobody
        for student in students:
            send_set(student=student, by=user_of(request), slug=request.POST.get("preset", ""))
    return ngettext("%(n)d asked for a film.", "%(n)d asked for a film.", n) % {"n": n}


@require_safe
@login_required
def students(request: HttpRequest) -> HttpResponse:
    """Everybody in lines of one height; those who wait for an answer stand first."""
    text, show = request.GET.get("text", "").strip(), request.GET.get("show", "")
    number = numbers.row_key(request.GET.get("page", "")) or 1
    taught = access.students_taught(request.user)
    page = roster(taught, text=text, show=show, number=number)
    return render(
        request,
        "dashboard/students.html",
        {
            "page": page,
            "text": text,
            "show": show,
            "is_sifted": text or show,
            "any_closed": taught.filter(closed_at__isnull=False).exists(),
        },
    )


@require_safe
@login_required
def student(request: HttpRequest, pk: int) -> HttpResponse:
    """All that a coach needs of one student on one page."""
    return student_page(request, access.student_prepare(request.user, pk))


def student_page(
    request: HttpRequest, person: Student, *, status: int = 200, **more: Any
) -> HttpResponse:
    """The page with what `more` says, such as a note that could not be saved."""
    sheet = queries.student_sheet(person) | {
        "course": course_of(person),
        "note": note_on(person),
        "bought": person.purchases.all(),
        "left": balances([person]).get(person.pk),
        "packages": person.studio.packages.filter(retired_at__isnull=True),
        "teaches": access.is_staff_of(request.user, person, access.TEACHING),
    }
    return render(request, "dashboard/student.html", sheet | more, status=status)


@require_POST
@login_required
def tag(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a tag on a student, or take one off."""
    person = access.student_teach(request.user, pk)
    if removed := request.POST.get("remove", ""):
        untag_student(by=user_of(request), student=person, label=removed)
        return redirect("student", person.pk)
    try:
        tag_student(by=user_of(request), student=person, label=request.POST.get("tag", ""))
    except LessonError as error:
        messages.error(request, error.sentence)
    return redirect("student", person.pk)


@require_safe
@login_required
def mine(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's home: one sentence, one button; then the ladder and what changed."""
    person = access.student_act(request.user, pk)
    if step := next_step(person):
        return redirect(step, person.pk)
    return render(request, "dashboard/mine.html", queries.student_home(person, user_of(request)))
