"""The thread's page: entries and the rows they name, fetched together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Model, QuerySet
from django.utils import timezone

from coaching.diagnosis.models import Finding
from coaching.diagnosis.queries import diagnosis_of, sentences
from coaching.intake.models import Request, Submission
from coaching.lessons.models import Entry, Seen, Thread
from coaching.lessons.notes import note_on
from coaching.people.models import BodyNote, Student, User
from coaching.practice.models import Assignment, PainReport, PracticeSeries, Verdict
from coaching.practice.queries.judged import measured_against_asked
from coaching.practice.queries.ladders import (
    CurrentStep,
    current_step,
    open_assignments,
    with_steps,
)
from coaching.review.models import Review

LADDER = "steps__criteria"
PAGE = 25
# What the entries' templates say of one.
SHOWN = ("thread", "kind", "text", "refs", "created_at", "understood_at", "author__name")
# The rows that entries tell of, by the name of their reference.
TABLES: dict[str, QuerySet[Any]] = {
    "request": Request.objects.prefetch_related("angles"),
    "submission": Submission.objects.select_related("video"),
    "review": Review.objects.all(),
    "finding": Finding.objects.all(),
    "assignment": Assignment.objects.select_related("drill_version").prefetch_related(LADDER),
    "verdict": Verdict.objects.select_related("attempt__step"),
    "practice_series": PracticeSeries.objects.select_related("assignment__drill_version"),
    "pain_report": PainReport.objects.all(),
    "body_notes": BodyNote.objects.all(),
}


@dataclass(frozen=True)
class ShownEntry:
    """An entry as the page shows it: complete in itself."""

    entry: Entry
    day: date
    is_mine: bool
    is_new: bool
    rows: dict[str, Any]  # what it tells of, by the name of its reference

    @property
    def is_folded(self) -> bool:
        """A line about a film's way that nobody has to read one by one."""
        return self.entry.kind in (Entry.Kind.SENT, Entry.Kind.READY) and not (
            self.is_new or self.entry.text
        )

    @property
    def template(self) -> str:
        return f"dashboard/entry_{self.entry.kind}.html"


@dataclass(frozen=True)
class Page:
    shown_entries: list[ShownEntry]
    earlier: int | None  # the entry before which there is more
    is_seen: bool  # the newest entry, by its reader before


def page_of(thread: Thread, *, user: User, before: int | None = None, size: int = PAGE) -> Page:
    """The newest entries, in order of time; `before` an entry's id for older ones."""
    entries = thread.entries.select_related("author").only(*SHOWN).order_by("-created_at", "-pk")
    if before is not None:
        entries = entries.filter(pk__lt=before)
    found = list(entries[: size + 1])
    shown = found[:size][::-1]
    seen = Seen.objects.filter(thread=thread, user=user).values_list("entry_id", flat=True)
    last = seen.first() or 0
    rows = rows_of(shown)
    shown_entries = [
        ShownEntry(
            entry=entry,
            day=timezone.localtime(entry.created_at).date(),
            is_mine=entry.author_id == user.pk,
            is_new=entry.pk > last and entry.author_id != user.pk,
            rows=rows.get(entry.pk, {}),
        )
        for entry in shown
    ]
    return Page(
        shown_entries=shown_entries,
        earlier=shown[0].pk if len(found) > size else None,
        is_seen=before is None and bool(found) and found[0].pk == last,
    )


def rows_of(entries: Sequence[Entry]) -> dict[int, dict[str, Any]]:
    """For each entry its rows, by the name of the reference; erased rows are left out."""
    wanted = _wanted(entries)
    found: dict[str, dict[int, Model]] = {
        name: table.in_bulk(wanted[name]) if wanted[name] else {} for name, table in TABLES.items()
    }
    asked = _asked(entries, found["submission"])
    findings = _findings(found["review"])
    rows_of_entry: dict[int, dict[str, Any]] = {}
    for entry in entries:
        rows: dict[str, Any] = {}
        for name, pk in entry.refs.items():
            if isinstance(pk, list):
                rows[name] = [found[name][i] for i in pk if i in found.get(name, {})]
            elif pk in found.get(name, {}):
                rows[name] = found[name][pk]
        rows["asked"] = asked.get(entry.refs.get("submission"), [])
        rows["findings"] = findings.get(entry.refs.get("review"), [])
        rows_of_entry[entry.pk] = rows
    return rows_of_entry


def _wanted(entries: Iterable[Entry]) -> dict[str, set[int]]:
    wanted: dict[str, set[int]] = defaultdict(set)
    for entry in entries:
        for name, pk in entry.refs.items():
            wanted[name] |= set(pk) if isinstance(pk, list) else {pk}
    return wanted


def _asked(entries: Iterable[Entry], clips: dict[int, Model]) -> dict[int, list[Any]]:
    """What was measured against what was asked, for clips that are told as measured."""
    telling = {Entry.Kind.READY, Entry.Kind.JUDGED}
    pks = {e.refs.get("submission") for e in entries if e.kind in telling}
    found = [clips[pk] for pk in pks if pk in clips]
    return measured_against_asked([clip for clip in found if isinstance(clip, Submission)])


def _findings(reviews: dict[int, Model]) -> dict[int, list[Finding]]:
    rows: dict[int, list[Finding]] = defaultdict(list)
    if reviews:
        found = Finding.objects.filter(review__in=reviews).order_by("position", "pk")
        for finding in found.prefetch_related("causal_links__cause"):
            if finding.review_id:
                rows[finding.review_id].append(finding)
    return rows


def summary_of(student: Student) -> dict[str, Any]:
    """The standing lesson: what was said, what causes what, and what to practise."""
    sent = student.reviews.filter(published_at__isnull=False).select_related("coach")
    diagnosis = diagnosis_of(student)
    return {
        "review": sent.order_by("published_at").last(),
        "diagnosis": diagnosis,
        "picture": diagnosis.picture,
        "sentences": sentences(diagnosis),
        "assignments": open_assignments(student)
        .select_related("drill_version")
        .prefetch_related(LADDER),
    }


@dataclass(frozen=True)
class Beside:
    """What stands beside the messages at a desk."""

    works_on: list[CurrentStep]
    told: list[Entry]  # answers and verdicts, with when they were read
    clips: list[Submission]
    note: str


def beside_of(student: Student) -> Beside:
    """What a student works on, has read and has sent lately, and the coach's own note."""
    told = Entry.objects.filter(
        thread__student=student, kind__in=(Entry.Kind.REVIEWED, Entry.Kind.JUDGED)
    )
    opened = student.assignments.filter(opened_at__isnull=False, closed_at=None).order_by("pk")
    clips = student.submissions.filter(replaced_by__isnull=True, video__erased_at=None)
    return Beside(
        works_on=[current_step(row) for row in with_steps(opened)],
        told=list(told.order_by("-created_at")[:4]),
        clips=list(clips.exclude(video__copy="").select_related("video").order_by("-pk")[:8]),
        note=note_on(student).text,
    )
