"""What a student must not be given, and what to give instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from coaching.diagnosis import causes
from coaching.diagnosis import queries as diagnosis
from coaching.diagnosis.entries import catalogue_of
from coaching.diagnosis.models import Finding
from coaching.intake.models import RequestedAngle
from coaching.people.errors import LessonError
from coaching.people.models import Region, Student
from coaching.practice import drills
from coaching.practice.models import Drill, DrillVersion
from coaching.practice.queries import pain
from coaching.review.models import Review

# What can be hit where a student practises; all of it where nobody said.
_BALLS = {
    Student.Place.FOAM: (RequestedAngle.Ball.NONE, RequestedAngle.Ball.FOAM),
    Student.Place.NONE: (RequestedAngle.Ball.NONE,),
}


def without_missing_balls(
    student: Student, ladder: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """A drill's own ladder with the balls that this student can hit."""
    may = _BALLS.get(Student.Place(student.practice_place)) if student.practice_place else None
    return [
        {**step, "ball": step["ball"] if may is None or step["ball"] in may else may[-1].value}
        for step in ladder
    ]


def refuse_missing_balls(student: Student, ladder: Sequence[Mapping[str, Any]]) -> None:
    fitting = without_missing_balls(student, ladder)
    for number, (step, fits) in enumerate(zip(ladder, fitting, strict=True), start=1):
        if step["ball"] != fits["ball"]:
            raise LessonError(
                _("%(name)s practises %(place)s. Ask for “%(ball)s” in step %(number)d.")
                % {
                    "name": student.name,
                    "place": student.get_practice_place_display(),
                    "ball": RequestedAngle.Ball(fits["ball"]).label,
                    "number": number,
                },
                code="no_such_ball",
                step=number,
            )


def refuse_wrong_target(
    *,
    review: Review,
    finding: Finding,
    reason: str = "",
    standing: diagnosis.Diagnosis | None = None,
) -> None:
    """Say why a drill must not aim at a finding yet, and what to aim at instead.

    A reason, once given, is kept and lets it through. `standing` is the student's diagnosis
    with this draft, where it was read already.
    """
    standing = standing or diagnosis.diagnosis_of(review.student, review)
    line = standing.line(finding.pk)
    if line is None:
        raise LessonError(_("That finding is not this student's."), code="wrong_student")
    if causes.may_be_targeted(standing.graph, finding.pk) or reason.strip():
        return
    waits = line.waits_for[0] if line.waits_for else None
    says = {"what": finding.text, "cause": waits.text if waits else ""}
    if line.state == causes.State.LEAVE and waits is not None:
        better = drill_for(waits)
        says["drill"] = drills.newest(better).title if better else ""
        sentence = _(
            "“%(what)s” makes up for “%(cause)s”. Taken away first, the player gets worse."
        )
        if better:
            sentence += " " + _("Assign “%(drill)s” for the cause, or give a reason.")
        else:
            sentence += " " + _("Aim at the cause, or give a reason.")
        raise LessonError(
            sentence % says,
            code="cause_open",
            cause=waits.pk,
            drill=better.pk if better else None,
        )
    if line.state == causes.State.UNEXPLAINED:
        raise LessonError(
            _(
                "What makes “%(what)s” needed is not found yet: say because of what, or give a"
                " reason."
            )
            % says,
            code="cause_unknown",
        )
    if line.state == causes.State.HELD:
        raise LessonError(
            _("“%(what)s” waits for the answer about “%(cause)s”. Ask first, or give a reason.")
            % says,
            code="question_open",
            cause=waits.pk if waits else None,
        )
    raise LessonError(
        _("There is nothing to treat about “%(what)s”. Aim at a cause, or give a reason.") % says,
        code="no_target",
    )


def drill_for(finding: Finding) -> Drill | None:
    """The drill of the studio's library that treats a finding, and loads nothing that hurts.

    A finding in free words has none: nobody knows what it means but the coach.
    """
    entry = catalogue_of(finding.student.studio_id).get(finding.entry)
    if entry is None:
        return None
    rows = Drill.objects.filter(studio=finding.student.studio_id, retired_at__isnull=True)
    named = {drill.slug: drill for drill in rows.filter(slug__in=entry.drills)}
    wanted = [named[slug] for slug in entry.drills if slug in named]
    wanted += [d for d in rows.filter(cause=entry.id).order_by("pk") if d not in wanted]
    hurting = pain.hurting(finding.student)
    return next((d for d in wanted if not pain.loads_any(drills.newest(d).loads, hurting)), None)


def refuse_what_hurts(student: Student, version: DrillVersion, *, reason: str) -> None:
    reported = {r.region for r in student.pain_reports.filter(reopened_at__isnull=True)}
    stopped = pain.loads_any(version.loads, reported)
    if stopped:
        raise LessonError(
            _(
                "%(name)s reported pain: %(region)s. Drills that load it stay stopped until a"
                " licensed professional has agreed."
            )
            % {"name": student.name, "region": Region(stopped[0]).label},
            code="hurts",
            region=stopped[0],
        )
    noted = pain.loads_any(version.loads, pain.hurting(student))
    if noted and not reason.strip():
        raise LessonError(
            _(
                "This drill loads what %(name)s said hurts: %(region)s (%(text)s). Choose"
                " another, or give a reason."
            )
            % {
                "name": student.name,
                "region": Region(noted[0]).label,
                "text": pain.hurting(student)[noted[0]],
            },
            code="hurts",
            region=noted[0],
        )
