"""Pages and fragments of the diagnosis. One URL per action; the services hold the rules."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from analysis.models import Measurement
from coaching import numbers
from coaching.bodies import takes_up_to
from coaching.diagnosis import picking, queries
from coaching.diagnosis.access import finding_draft, finding_teach, question_act, voice_read
from coaching.diagnosis.beside import findings_context
from coaching.diagnosis.catalogue import key_of
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import (
    findings,
    outcomes,
    planning,
    questions,
    suggested,
    voices,
)
from coaching.diagnosis.sidebar import act, wants_fragment
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote
from coaching.review import spoken
from coaching.review.access import draft_show
from coaching.review.drafting import writes_draft
from coaching.review.models import Review


def fragment(request: HttpRequest, review: Review, trouble: str = "") -> HttpResponse:
    return render(request, "diagnosis/_findings.html", findings_context(review, trouble))


def _again(
    request: HttpRequest,
    review: Review,
    trouble: str = "",
    *,
    texts: dict[int, str] | None = None,
    note: str = "",
) -> HttpResponse:
    """The fragment; what was refused stays in its field."""
    context = findings_context(review, trouble)
    if trouble:
        context |= {"typed": texts or {}, "typed_note": note}
    return render(request, "diagnosis/_findings.html", context)


@require_safe
@login_required
def sidebar(request: HttpRequest, ref: str) -> HttpResponse:
    return fragment(request, draft_show(request.user, ref))


@require_POST
@login_required
@writes_draft
def add(request: HttpRequest, review: Review) -> HttpResponse:
    standing = queries.visible(review.student, review)
    cause = request.POST.get("because", "")
    because = [_one(standing, cause)] if cause else []
    row = request.POST.get("measurement", "")
    measured = Measurement.objects.filter(run__video__submission__student=review.student)
    return act(
        request,
        review,
        lambda: findings.add_finding(
            review=review,
            by=user_of(request),
            kind=request.POST.get("kind", ""),
            text=request.POST.get("text", ""),
            measurement=_one(measured, row) if row else None,
            because=because,
        ),
        fragment=fragment,
    )


def _one(rows: Any, pk: str) -> Any:
    """One of `rows` by a key that came with a form, or 404."""
    return access.get_object_or_404(rows, pk=numbers.row_key(pk))


@require_POST
@login_required
@writes_draft
def accept(request: HttpRequest, review: Review) -> HttpResponse:
    return act(
        request,
        review,
        lambda: suggested.accept_suggestion(
            review=review,
            by=user_of(request),
            entry=request.POST.get("entry", ""),
            kind=request.POST.get("kind", ""),
            text=request.POST.get("text", ""),
        ),
        fragment=fragment,
    )


@require_POST
@login_required
@writes_draft
def pick(request: HttpRequest, review: Review) -> HttpResponse:
    """An entry of the catalogue, picked from the list or offered as a usual cause."""
    effect = request.POST.get("effect", "")
    standing = queries.visible(review.student, review)
    return act(
        request,
        review,
        lambda: suggested.add_entry(
            review=review,
            by=user_of(request),
            entry=request.POST.get("entry", ""),
            kind=request.POST.get("kind", ""),
            effect=_one(standing, effect) if effect else None,
        ),
        fragment=fragment,
    )


@require_POST
@login_required
@writes_draft
def by_eye(request: HttpRequest, review: Review) -> HttpResponse:
    """What the coach saw where the club points at the camera."""
    figure = request.POST.get("figure", "")
    measure, event = key_of(figure)
    return act(
        request,
        review,
        lambda: suggested.judge_by_eye(
            review=review,
            by=user_of(request),
            measure=measure,
            event=event,
            entry=request.POST.get("entry", ""),
        ),
        fragment=fragment,
    )


@require_POST
@login_required
@writes_draft
def ball(request: HttpRequest, review: Review) -> HttpResponse:
    """The usual miss as the end of the chain."""
    return act(
        request,
        review,
        lambda: suggested.add_usual_miss(review=review, by=user_of(request)),
        fragment=fragment,
    )


@require_safe
@login_required
def picker(request: HttpRequest, ref: str) -> HttpResponse:
    """The list to pick from, by words or by view; a fragment for script, else a page."""
    review = draft_show(request.user, ref)
    query, view = request.GET.get("q", ""), request.GET.get("view", "")
    page = "diagnosis/_options.html" if wants_fragment(request) else "diagnosis/picker.html"
    context = {"review": review, "student": review.student, "q": query, "view": view}
    return render(request, page, context | {"found": picking.found(review, query, view)})


@require_POST
@login_required
def dismiss(request: HttpRequest, ref: str) -> HttpResponse:
    review = draft_show(request.user, ref)
    return act(
        request,
        review,
        lambda: suggested.dismiss_suggestion(
            student=review.student, entry=request.POST.get("entry", ""), by=user_of(request)
        ),
        fragment=fragment,
    )


@require_POST
@login_required
def suggest_again(request: HttpRequest, ref: str) -> HttpResponse:
    """Take every dismissal of this student back."""
    review = draft_show(request.user, ref)

    def call() -> None:
        for entry in review.student.dismissals.values_list("entry", flat=True):
            suggested.suggest_again(student=review.student, entry=entry, by=user_of(request))

    return act(request, review, call, fragment=fragment)


def _drafted(finding: Finding) -> Review:
    if finding.review is None:
        raise Http404
    return finding.review


@require_POST
@login_required
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    finding = finding_draft(request.user, pk)
    fields = {k: request.POST[k] for k in ("text", "kind") if k in request.POST}
    was = {k: request.POST[f"was_{k}"] for k in fields if f"was_{k}" in request.POST}
    return act(
        request,
        _drafted(finding),
        lambda: findings.edit_finding(finding=finding, by=user_of(request), was=was, **fields),
        fragment=partial(_again, texts={finding.pk: fields.get("text", "")}),
    )


@require_POST
@login_required
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    finding = finding_draft(request.user, pk)
    review = _drafted(finding)
    return act(
        request,
        review,
        lambda: findings.remove_finding(by=user_of(request), finding=finding),
        fragment=fragment,
    )


@takes_up_to(spoken.MAX_BYTES)
@require_POST
@login_required
def say(request: HttpRequest, pk: int) -> HttpResponse:
    """A recording about one finding."""
    finding = finding_draft(request.user, pk)

    def keep() -> None:
        voice = spoken.recording_of(request)
        if voice is None:
            raise LessonError(_("Record something or choose a file first."), code="no_file")
        voices.keep_voice(finding=finding, by=user_of(request), voice=voice)

    return act(request, _drafted(finding), keep, fragment=fragment)


@require_POST
@login_required
def said(request: HttpRequest, pk: int) -> HttpResponse:
    """What the recording says, in writing."""
    finding, text = finding_draft(request.user, pk), request.POST.get("text", "")
    return act(
        request,
        _drafted(finding),
        lambda: voices.write_voice(finding=finding, by=user_of(request), text=text),
        fragment=fragment,
    )


@require_POST
@login_required
def unsay(request: HttpRequest, pk: int) -> HttpResponse:
    finding = finding_draft(request.user, pk)
    return act(
        request,
        _drafted(finding),
        lambda: voices.remove_voice(finding=finding, by=user_of(request)),
        fragment=fragment,
    )


@require_safe
@login_required
def voice(request: HttpRequest, pk: int) -> HttpResponseBase:
    """What the coach said about a finding."""
    return spoken.play(request, voice_read(request.user, pk).voice)


def _ends(request: HttpRequest, review: Review) -> dict[str, Finding]:
    rows = queries.visible(review.student, review)
    return {end: _one(rows, request.POST.get(end, "")) for end in ("effect", "cause")}


@require_POST
@login_required
@writes_draft
def link(request: HttpRequest, review: Review) -> HttpResponse:
    ends = _ends(request, review)
    return act(
        request, review, lambda: findings.link(by=user_of(request), **ends), fragment=fragment
    )


@require_POST
@login_required
@writes_draft
def unlink(request: HttpRequest, review: Review) -> HttpResponse:
    ends = _ends(request, review)
    return act(
        request, review, lambda: findings.unlink(by=user_of(request), **ends), fragment=fragment
    )


@require_POST
@login_required
@writes_draft
def move(request: HttpRequest, review: Review) -> HttpResponse:
    """A finding one place earlier or later in the plan, or the computed order again."""
    if request.POST.get("to") == "computed":
        return act(
            request,
            review,
            lambda: planning.forget_order(by=user_of(request), review=review),
            fragment=fragment,
        )
    finding = _one(queries.visible(review.student, review), request.POST.get("finding", ""))
    earlier = request.POST.get("to") == "earlier"
    return act(
        request,
        review,
        lambda: planning.move_in_plan(
            by=user_of(request), review=review, finding=finding, earlier=earlier
        ),
        fragment=fragment,
    )


@require_POST
@login_required
@writes_draft
def keep(request: HttpRequest, review: Review) -> HttpResponse:
    text, was = request.POST.get("text", ""), request.POST.get("was")
    return act(
        request,
        review,
        lambda: planning.keep_note(by=user_of(request), review=review, text=text, was=was),
        fragment=partial(_again, note=text),
    )


# --- after it was sent --------------------------------------------------------------


def _decide(request: HttpRequest, finding: Finding, call: Any, done: str) -> HttpResponse:
    try:
        call()
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, done)
    return redirect("diagnosis:shown", finding.student_id)


@require_POST
@login_required
def limit(request: HttpRequest, pk: int) -> HttpResponse:
    finding = finding_teach(request.user, pk)
    note = request.POST.get("body_note", "")
    notes = BodyNote.objects.filter(student=finding.student)
    chosen = _one(notes, note) if note else None
    return _decide(
        request,
        finding,
        lambda: questions.accept_limit(finding=finding, by=user_of(request), body_note=chosen),
        _("Kept as a limit: the plan works inside it."),
    )


@require_POST
@login_required
def resolve(request: HttpRequest, pk: int) -> HttpResponse:
    finding = finding_teach(request.user, pk)
    return _decide(
        request,
        finding,
        lambda: questions.resolve_question(finding=finding, by=user_of(request)),
        _("Settled: it holds nothing back."),
    )


@require_POST
@login_required
def look_again(request: HttpRequest, pk: int) -> HttpResponse:
    finding = finding_teach(request.user, pk)
    still_there = request.POST.get("still_there") == "yes"
    return _decide(
        request,
        finding,
        lambda: outcomes.look_again(finding=finding, by=user_of(request), still_there=still_there),
        _("Kept.") if still_there else _("It went with its cause."),
    )


@require_safe
@login_required
def shown(request: HttpRequest, pk: int) -> HttpResponse:
    """What was found so far, as stones and sentences; the coach decides here."""
    student = access.student_read(request.user, pk)
    standing = queries.diagnosis_of(student)
    return render(
        request,
        "diagnosis/shown.html",
        {
            "student": student,
            "diagnosis": standing,
            "sentences": queries.sentences(standing),
            "can_teach": access.is_staff_of(request.user, student, access.TEACHING),
            "body_notes": student.body_notes.filter(over_at__isnull=True),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The student answers a question about the body."""
    finding = question_act(request.user, pk)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            questions.answer_question(
                finding=finding, by=user_of(request), text=request.POST.get("text", "")
            )
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            messages.success(request, _("Thank you. Your coach has your answer."))
            return redirect("today", finding.student_id)
    return render(
        request,
        "diagnosis/answer.html",
        {
            "finding": finding,
            "student": finding.student,
            "question": questions.question_of(finding),
            "trouble": trouble,
            "text": request.POST.get("text", ""),
        },
        status=status,
    )
