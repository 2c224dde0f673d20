"""Pages and fragments of the diagnosis. One URL per action; the services hold the rules."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from analysis.models import Measurement
from coaching.diagnosis import queries, services
from coaching.diagnosis.margin import act
from coaching.diagnosis.models import Finding
from coaching.diagnosis.tags import all_tags
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, User
from coaching.review.models import Review
from coaching.review.queries import draft_write


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)  # login_required
    return request.user


def margin_context(review: Review, trouble: str = "") -> dict[str, Any]:
    """Everything `diagnosis/_findings.html` shows."""
    standing = queries.diagnosis_of(review.student, review)
    figures = queries.figures_of(review.submissions.all())
    return {
        "student": review.student,
        "review": review,
        "diagnosis": standing,
        "suggestions": [] if review.published_at else queries.suggestions_for(review),
        "figures": [row for _key, (_reading, row) in sorted(figures.items())],
        "kinds": Finding.Kind.choices,
        "tags": all_tags(),
        "body_notes": review.student.body_notes.filter(over_at__isnull=True),
        "told": queries.sentences(standing),
        "trouble": trouble,
    }


def fragment(request: HttpRequest, review: Review, trouble: str = "") -> HttpResponse:
    return render(request, "diagnosis/_findings.html", margin_context(review, trouble))


@require_safe
@login_required
def margin(request: HttpRequest, pk: int) -> HttpResponse:
    return fragment(request, draft_write(request.user, pk))


@require_POST
@login_required
def add(request: HttpRequest, pk: int) -> HttpResponse:
    review = draft_write(request.user, pk)
    standing = queries.visible(review.student, review)
    cause = request.POST.get("because", "")
    because = [_one(standing, cause)] if cause else []
    row = request.POST.get("measurement", "")
    measured = Measurement.objects.filter(run__video__submission__student=review.student)
    return act(
        request,
        review,
        lambda: services.add_finding(
            review=review,
            by=_user(request),
            kind=request.POST.get("kind", ""),
            words=request.POST.get("words", ""),
            tag=request.POST.get("tag", ""),
            measurement=_one(measured, row) if row else None,
            because=because,
        ),
        fragment=fragment,
    )


def _one(rows: Any, pk: str) -> Any:
    """One of `rows` by a key that came with a form, or 404."""
    if not pk.isdecimal():
        raise Http404
    return access.get_object_or_404(rows, pk=int(pk))


@require_POST
@login_required
def accept(request: HttpRequest, pk: int) -> HttpResponse:
    review = draft_write(request.user, pk)
    return act(
        request,
        review,
        lambda: services.accept_suggestion(
            review=review,
            by=_user(request),
            rule=request.POST.get("rule", ""),
            kind=request.POST.get("kind", ""),
            words=request.POST.get("words", ""),
        ),
        fragment=fragment,
    )


@require_POST
@login_required
def dismiss(request: HttpRequest, pk: int) -> HttpResponse:
    review = draft_write(request.user, pk)
    return act(
        request,
        review,
        lambda: services.dismiss_suggestion(
            student=review.student, rule=request.POST.get("rule", ""), by=_user(request)
        ),
        fragment=fragment,
    )


@require_POST
@login_required
def suggest_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Take every dismissal of this student back."""
    review = draft_write(request.user, pk)

    def call() -> None:
        for rule in review.student.dismissals.values_list("rule", flat=True):
            services.suggest_again(student=review.student, rule=rule)

    return act(request, review, call, fragment=fragment)


def _drafted(finding: Finding) -> Review:
    if finding.review is None:
        raise Http404
    return finding.review


@require_POST
@login_required
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    finding = queries.finding_draft(request.user, pk)
    fields = {k: request.POST[k] for k in ("words", "kind", "tag") if k in request.POST}
    return act(
        request,
        _drafted(finding),
        lambda: services.edit_finding(finding=finding, by=_user(request), **fields),
        fragment=fragment,
    )


@require_POST
@login_required
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    finding = queries.finding_draft(request.user, pk)
    review = _drafted(finding)
    return act(request, review, lambda: services.remove_finding(finding=finding), fragment=fragment)


def _ends(request: HttpRequest, review: Review) -> dict[str, Finding]:
    rows = queries.visible(review.student, review)
    return {end: _one(rows, request.POST.get(end, "")) for end in ("effect", "cause")}


@require_POST
@login_required
def link(request: HttpRequest, pk: int) -> HttpResponse:
    review = draft_write(request.user, pk)
    ends = _ends(request, review)
    return act(request, review, lambda: services.link(**ends), fragment=fragment)


@require_POST
@login_required
def unlink(request: HttpRequest, pk: int) -> HttpResponse:
    review = draft_write(request.user, pk)
    ends = _ends(request, review)
    return act(request, review, lambda: services.unlink(**ends), fragment=fragment)


@require_POST
@login_required
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """A finding one place earlier or later in the plan, or the computed order again."""
    review = draft_write(request.user, pk)
    if request.POST.get("to") == "computed":
        return act(request, review, lambda: services.forget_order(review=review), fragment=fragment)
    finding = _one(queries.visible(review.student, review), request.POST.get("finding", ""))
    earlier = request.POST.get("to") == "earlier"
    return act(
        request,
        review,
        lambda: services.move_in_plan(review=review, finding=finding, earlier=earlier),
        fragment=fragment,
    )


@require_POST
@login_required
def keep(request: HttpRequest, pk: int) -> HttpResponse:
    review = draft_write(request.user, pk)
    words = request.POST.get("words", "")
    return act(
        request, review, lambda: services.keep_words(review=review, words=words), fragment=fragment
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
    finding = queries.finding_teach(request.user, pk)
    note = request.POST.get("body_note", "")
    notes = BodyNote.objects.filter(student=finding.student)
    chosen = _one(notes, note) if note else None
    return _decide(
        request,
        finding,
        lambda: services.accept_limit(finding=finding, by=_user(request), body_note=chosen),
        _("Kept as a limit: the plan works inside it."),
    )


@require_POST
@login_required
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    finding = queries.finding_teach(request.user, pk)
    return _decide(
        request,
        finding,
        lambda: services.settle_question(finding=finding, by=_user(request)),
        _("Settled: it holds nothing back."),
    )


@require_POST
@login_required
def look_again(request: HttpRequest, pk: int) -> HttpResponse:
    finding = queries.finding_teach(request.user, pk)
    still_there = request.POST.get("still_there") == "yes"
    return _decide(
        request,
        finding,
        lambda: services.look_again(finding=finding, by=_user(request), still_there=still_there),
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
            "told": queries.sentences(standing),
            "can_teach": access.is_staff_of(request.user, student, access.TEACHING),
            "body_notes": student.body_notes.filter(over_at__isnull=True),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The student answers a question about the body."""
    finding = queries.question_act(request.user, pk)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            services.answer_question(
                finding=finding, by=_user(request), words=request.POST.get("words", "")
            )
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            messages.success(request, _("Thank you. Your coach has your answer."))
            return redirect("desk:mine", finding.student_id)
    return render(
        request,
        "diagnosis/answer.html",
        {
            "finding": finding,
            "student": finding.student,
            "question": services.question_of(finding),
            "trouble": trouble,
            "words": request.POST.get("words", ""),
        },
        status=status,
    )
