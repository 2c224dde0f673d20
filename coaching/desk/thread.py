"""What entries of the thread tell of, fetched together: queries do not grow with rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Model, QuerySet

from coaching.diagnosis.models import Finding
from coaching.diagnosis.queries import diagnosis_of, sentences
from coaching.intake.models import Request, Submission
from coaching.lessons.models import Entry
from coaching.people.models import BodyNote, Student
from coaching.practice.models import Assignment, PainReport, Verdict
from coaching.practice.queries import measured_against_asked, open_assignments
from coaching.review.models import Review

LADDER = "rungs__criteria"


def rows_of(entries: Sequence[Entry]) -> dict[int, dict[str, Any]]:
    """For each entry its rows, by the name of the reference; erased rows are left out."""
    wanted = _wanted(entries)
    tables: dict[str, QuerySet[Any]] = {
        "request": Request.objects.prefetch_related("angles"),
        "submission": Submission.objects.select_related("video", "angle", "angle__request"),
        "review": Review.objects.all(),
        "finding": Finding.objects.all(),
        "assignment": Assignment.objects.select_related("drill_version").prefetch_related(LADDER),
        "verdict": Verdict.objects.select_related("attempt__rung"),
        "pain_report": PainReport.objects.all(),
        "body_notes": BodyNote.objects.all(),
    }
    found: dict[str, dict[int, Model]] = {
        name: table.in_bulk(wanted[name]) if wanted[name] else {} for name, table in tables.items()
    }
    asked = _asked(entries, found["submission"])
    findings = _findings(found["review"])
    told: dict[int, dict[str, Any]] = {}
    for entry in entries:
        rows: dict[str, Any] = {}
        for name, pk in entry.refs.items():
            if isinstance(pk, list):
                rows[name] = [found[name][i] for i in pk if i in found.get(name, {})]
            elif pk in found.get(name, {}):
                rows[name] = found[name][pk]
        rows["asked"] = asked.get(entry.refs.get("submission"), [])
        rows["findings"] = findings.get(entry.refs.get("review"), [])
        told[entry.pk] = rows
    return told


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
    return measured_against_asked([clips[pk] for pk in pks if pk in clips])


def _findings(reviews: dict[int, Model]) -> dict[int, list[Finding]]:
    rows: dict[int, list[Finding]] = defaultdict(list)
    if reviews:
        found = Finding.objects.filter(review__in=reviews).order_by("position", "pk")
        for finding in found.prefetch_related("becauses__cause"):
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
