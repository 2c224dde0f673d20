"""Build the demo through the same services that people use, and take it away again.

Clips are measured for real. What happened "last week" is done now and then moved back in
time as a whole, so that nothing is written that a person could not have written.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.files import File
from django.db import models, transaction
from django.db.models import F
from django.test.utils import override_settings

from analysis import services as analysis
from analysis.models import Run
from coaching.demo import story
from coaching.demo.story import Person
from coaching.diagnosis import services as diagnosis
from coaching.diagnosis.models import Finding
from coaching.intake import services as intake
from coaching.intake.models import RequestedAngle, Submission
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import services as people
from coaching.people.models import Consent, Invitation, Student, Studio, User
from coaching.people.services.record import rows_of
from coaching.practice import services as practice
from coaching.practice.models import Assignment, Drill
from coaching.review import services as review
from coaching.review.models import Review

logger = logging.getLogger("analysis.services")
CLIPS = Path(__file__).parent / "clips"
Say = Callable[[str], None]

BEHIND: dict[str, Any] = {"view": "down_the_line", "kind": "swing", "club": "7 iron"}
FRONT: dict[str, Any] = {**BEHIND, "view": "face_on"}
SETUP: dict[str, Any] = {
    **BEHIND,
    "kind": "setup",
    "effort": RequestedAngle.Effort.STILL,
    "ball": RequestedAngle.Ball.NONE,
}


class DemoFailed(Exception):
    """The message says which clip could not be measured, and why."""


def demo_studio() -> Studio | None:
    return Studio.objects.filter(is_demo=True).first()


def logins() -> list[tuple[str, str, str]]:
    """Who can sign in to the demo: role, address, password."""
    studio = demo_studio()
    if studio is None:
        return []
    rows = [("coach", story.COACH[1]), ("colleague", story.COLLEAGUE[1])]
    rows += [("student", person.email) for person in story.PEOPLE]
    rows += [("guardian", p.guardian[1]) for p in story.PEOPLE if p.guardian]
    known = set(User.objects.values_list("email", flat=True))
    return [(role, mail, story.PASSWORD) for role, mail in rows if mail in known]


def remove_demo() -> bool:
    """Take the demo away: its studio, students, clips and accounts, nothing else."""
    studio = demo_studio()
    if studio is None:
        return False
    for student in studio.students.all():
        people.erase_record(student=student)
    mails = [mail for _role, mail, _password in logins()]
    with transaction.atomic():
        studio.delete()
        User.objects.filter(email__in=mails).delete()
    return True


@contextmanager
def _own_worker() -> Iterator[None]:
    """The demo does a worker's work itself, so a queue that is away is no news."""
    level = logger.level
    logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        logger.setLevel(level)


@override_settings(EMAIL_BACKEND="django.core.mail.backends.dummy.EmailBackend")
@_own_worker()
def create_demo(*, say: Say) -> Studio:
    """Found the studio and live through everybody's lessons. Measures for a few minutes.

    Raises
    ------
    DemoFailed
        When a clip could not be measured.
    """
    coach = people.open_account(name=story.COACH[0], email=story.COACH[1], password=story.PASSWORD)
    studio = people.create_studio(name=story.STUDIO, owner=coach, is_demo=True)
    colleague = people.open_account(
        name=story.COLLEAGUE[0], email=story.COLLEAGUE[1], password=story.PASSWORD
    )
    door = people.invite_member(studio=studio, by=coach, email=colleague.email, role="coach")
    people.join_studio(invitation=door, user=colleague)
    practice.load_starter_library(studio=studio)
    for title, words in story.SNIPPETS:
        review.add_snippet(studio=studio, title=title, words=words)
    for person in story.PEOPLE:
        say(f"{person.name} …")
        LESSONS[person.key](_join(studio, coach, person), coach)
    # Nobody needs letters about what happened before the demo was opened.
    Entry.objects.filter(thread__student__studio=studio).update(told_at=F("created_at"))
    return studio


def _join(studio: Studio, coach: User, person: Person) -> Student:
    """Somebody opens the invitation on a phone and answers what is asked, body first."""
    door = people.invite_student(studio=studio, by=coach, name=person.name, email=person.email)
    user = people.open_account(name=person.name, email=person.email, password=story.PASSWORD)
    student = people.join_student(invitation=door, user=user, is_minor=person.guardian is not None)
    speaks = _guardian(student, user, person) if person.guardian else user
    student.refresh_from_db()
    notes = [
        dict(zip(("region", "side", "kind", "words"), row, strict=True)) for row in person.body
    ]
    people.note_body(student=student, by=user, notes=notes)
    people.describe_student(
        student=student,
        by=user,
        handedness=person.handedness,
        stature_cm=person.stature_cm,
        age_band=person.age_band,
        goals=person.goals,
        usual_miss=person.usual_miss,
        practice_place=person.place,
    )
    people.give_consents(student=student, by=speaks, purposes=Consent.Purpose.values)
    people.finish_joining(student=student)
    student.refresh_from_db()
    return student


def _guardian(student: Student, user: User, person: Person) -> User:
    """The guardian opens the link sent to their own contact and agrees."""
    assert person.guardian is not None
    name, email = person.guardian
    door: Invitation = people.name_guardian(student=student, by=user, name=name, email=email)
    guardian = people.open_account(name=name, email=email, password=story.PASSWORD)
    people.agree_as_guardian(invitation=door, user=guardian, purposes=Consent.Purpose.values)
    return guardian


# What somebody does in a lesson, said in one line each.


def _ask(
    student: Student, coach: User, angles: Sequence[Mapping[str, Any]], words: str
) -> list[RequestedAngle]:
    request = intake.request_angles(student=student, by=coach, angles=angles, words=words)
    return list(request.angles.all())


def _send(angle: RequestedAngle, clip: str, words: str = "") -> Submission:
    """The clip goes in, and a worker's work is done at once."""
    student = angle.request.student
    with (CLIPS / clip).open("rb") as held:
        sent = intake.receive_file(
            by=student.user,
            student=student,
            file=File(held, name=clip),
            angle=angle,
            words=words,
        )
    going = (Run.Status.QUEUED, Run.Status.RUNNING)
    while run := sent.video.runs.filter(status__in=going).order_by("pk").first():
        if not analysis.run(run.pk):
            time.sleep(0.5)  # a worker that is up already has it in hand
    if broken := sent.video.runs.filter(status=Run.Status.FAILED).first():
        raise DemoFailed(f"{clip} could not be measured ({broken.kind}: {broken.error_code}).")
    sent.refresh_from_db()
    return sent


def _open(clip: Submission, coach: User, words: str) -> Review:
    draft = review.open_draft(submissions=[clip], by=coach)
    review.save_words(review=draft, words=words, revision=draft.revision, by=coach)
    draft.refresh_from_db()
    return draft


def _figure(clip: Submission, measure: str, event: str) -> Any:
    """The newest measurement of a clip, if it was seen."""
    run = clip.video.runs.filter(kind=Run.Kind.MEASURE, status=Run.Status.DONE).last()
    rows = (
        run.measurements.filter(measure=measure, event=event, value__isnull=False) if run else None
    )
    return rows.first() if rows is not None else None


def _drill(student: Student, slug: str) -> Drill:
    return Drill.objects.get(studio=student.studio, slug=slug)


def _little_turn(draft: Review, clip: Submission, coach: User) -> Finding:
    """Cause, what follows from it, and what the body makes of both. The coach's own eye
    adds the shaft, which hides behind its own length at that moment."""
    cause = diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.CAUSE,
        words="your hips barely turn in the backswing",
        measurement=_figure(clip, "pelvis_turn_deg", "top"),
        rule="little-pelvis-turn",
    )
    shaft = diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.CAUSE,
        words="the shaft is too upright late in the backswing",
        measurement=_figure(clip, "shaft_pitch_deg", "late_back"),
        rule="shaft-upright-late",
        because=[cause],
    )
    _toward_the_ball(draft, clip, coach, because=shaft)
    diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.STRENGTH,
        words="your tempo is even",
        measurement=_figure(clip, "tempo_ratio", "impact"),
        rule="even-tempo",
    )
    return cause


def _shallow_hands(draft: Review, clip: Submission, coach: User) -> Finding:
    """The hands lack depth, and the hips make room for them."""
    cause = diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.CAUSE,
        words="your hands end the backswing over your foot and not behind your heel",
        measurement=_figure(clip, "hand_depth_cm", "top"),
        rule="hands-over-the-foot",
    )
    _toward_the_ball(draft, clip, coach, because=cause)
    return cause


def _toward_the_ball(draft: Review, clip: Submission, coach: User, *, because: Finding) -> Finding:
    return diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.COMPENSATION,
        words="your hips move toward the ball coming down",
        measurement=_figure(clip, "pelvis_to_ball_down_cm", "impact"),
        because=[because],
    )


def _turn_and_shaft(
    kind: str, *, film: str, effort: str, ball: str, need: int, of: int, turn: float, aim: float
) -> dict[str, Any]:
    """A step that asks for two things at once: the turn and the shaft past the ball."""
    words = {
        "slow": "Slow, no ball: turn first, then let the handle point past the ball.",
        "several": "Three in a row without stopping, as slow as before.",
        "ball": "A ball now. The move first; where the ball goes comes second.",
    }
    return {
        "kind": kind,
        "words": words[kind],
        "view": "down_the_line",
        "film_kind": film,
        "effort": effort,
        "ball": ball,
        "need": need,
        "repetitions": of,
        "criteria": [
            {
                "comparison": "at_least",
                "measure": "pelvis_turn_deg",
                "event": "top",
                "low": turn,
            },
            {
                "comparison": "at_least",
                "measure": "shaft_aim_deg",
                "event": "lead_arm_down",
                "low": aim,
            },
        ],
    }


# The first step asks for more than the last: a new move shrinks as speed rises.
TURN_LADDER = [
    _turn_and_shaft(
        "slow", film="rehearsal", effort="slow", ball="none", need=1, of=1, turn=40, aim=8
    ),
    _turn_and_shaft(
        "several", film="rehearsal", effort="slow", ball="none", need=2, of=3, turn=38, aim=6
    ),
    _turn_and_shaft("ball", film="swing", effort="full", ball="ball", need=2, of=3, turn=36, aim=3),
]
DEPTH_LADDER = [
    {
        "kind": "slow",
        "words": "Slow swings, no ball.",
        "view": "down_the_line",
        "film_kind": "rehearsal",
        "effort": "slow",
        "ball": "none",
        "need": 1,
        "repetitions": 1,
        "criteria": [
            {
                "comparison": "changed_by",
                "measure": "hand_depth_cm",
                "event": "top",
                "change": 8,
            }
        ],
    }
]


def _assign(
    draft: Review, cause: Finding, coach: User, *, slug: str, ladder: list[dict[str, Any]]
) -> Assignment:
    return practice.assign_drill(
        review=draft,
        by=coach,
        drill=_drill(draft.student, slug),
        finding=cause,
        rungs=ladder,
        words="Ten slow ones each evening, in front of a window you can see yourself in.",
    )


def _open_angle(assignment: Assignment) -> RequestedAngle:
    """The film that the student's present step asks for."""
    attempt = (
        assignment.rungs.filter(passed_at__isnull=True)
        .order_by("position")
        .first()
        .attempts.filter(verdict__isnull=True)
        .latest("pk")
    )
    return attempt.angle


def _judge(clip: Submission, coach: User, decision: str, cue: str = "") -> None:
    practice.judge_attempt(
        attempt=clip.angle.attempt, by=coach, decision=decision, cue=cue, submission=clip
    )


def let_time_pass(student: Student, span: timedelta) -> None:
    """Move everything that hangs on a student back in time by `span`."""
    for model, rows in rows_of(student).items():
        fields = [f for f in model._meta.concrete_fields if isinstance(f, models.DateField)]
        for row in rows.values():
            moved = {f.attname: _earlier(getattr(row, f.attname), span) for f in fields}
            moved = {name: value for name, value in moved.items() if value is not None}
            if moved:
                model._base_manager.filter(pk=row.pk).update(**moved)
    student.refresh_from_db()


def _earlier(value: date | datetime | None, span: timedelta) -> date | datetime | None:
    return value - span if value is not None else None


# Eight lessons, each left where something different comes next.


def _wystan(student: Student, coach: User) -> None:
    """To review: two clips came back together."""
    behind, front = _ask(
        student, coach, [BEHIND, FRONT], "Your usual full swing, one from each side, please."
    )
    _send(behind, "baseline_dtl.mp4", "This is how it feels most days. I catch it thin.")
    _send(front, "baseline_face_on.mp4")
    let_time_pass(student, timedelta(hours=41))


def _oda(student: Student, coach: User) -> None:
    """Asked, and gone quiet."""
    _ask(student, coach, [SETUP], "Only how you stand. No swing yet.")
    let_time_pass(student, timedelta(days=19))


def _perrin(student: Student, coach: User) -> None:
    """Has to film again: the feet were not in the picture."""
    (angle,) = _ask(student, coach, [SETUP], "Show me how you stand to the ball.")
    let_time_pass(student, timedelta(days=1))
    _send(angle, "feet_cut.mp4")
    let_time_pass(student, timedelta(hours=2))


def _sunniva(student: Student, coach: User) -> None:
    """A question about the hip before anything is prescribed."""
    (angle,) = _ask(student, coach, [BEHIND], "A comfortable swing, nothing forced.")
    clip = _send(angle, "halfway_dtl.mp4", "The right side feels short.")
    draft = _open(clip, coach, "Before I ask you to turn more, one question about your hip.")
    question = diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.QUESTION,
        words="does turning onto your trail hip feel stiff, or does it hurt",
        body_note=student.body_notes.first(),
    )
    diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.CAUSE,
        words="your hands end the backswing over your foot and not behind your heel",
        measurement=_figure(clip, "hand_depth_cm", "top"),
        because=[question],
    )
    practice.publish_lesson(review=draft, by=coach)
    let_time_pass(student, timedelta(hours=30))


def _brannoc(student: Student, coach: User) -> None:
    """In drills: three repetitions came back and wait for a verdict."""
    (angle,) = _ask(student, coach, [BEHIND], "Your usual swing from behind the line.")
    clip = _send(angle, "baseline_dtl.mp4", "I stand up. Everybody tells me to stay down.")
    draft = _open(
        clip,
        coach,
        "You do stand up, and for now that is right: with so little turn the shaft stands so"
        " upright that you would hit the ground otherwise. So we change the turn and the shaft"
        " first and leave the rest alone.",
    )
    cause = _little_turn(draft, clip, coach)
    diagnosis.keep_words(review=draft, words="Play as you always do. Count to two on the way back.")
    assignment = _assign(draft, cause, coach, slug="turn-and-lay-it-down", ladder=TURN_LADDER)
    practice.publish_lesson(review=draft, by=coach)
    let_time_pass(student, timedelta(days=6))
    first = _send(_open_angle(assignment), "rehearsal_dtl.mp4", "Feels like I lay it on a shelf.")
    _judge(first, coach, "passed", "That shelf is the feeling. Keep it.")
    let_time_pass(student, timedelta(days=3))
    _send(_open_angle(assignment), "rehearsal_dtl_three.mp4", "Three in a row, as asked.")
    let_time_pass(student, timedelta(hours=20))


def _tilda(student: Student, coach: User) -> None:
    """Passed: what was left alone is due for a new look."""
    (angle,) = _ask(student, coach, [BEHIND], "Your usual swing from behind the line.")
    clip = _send(angle, "halfway_dtl.mp4")
    draft = _open(clip, coach, "One thing first: where your hands are at the top.")
    cause = _shallow_hands(draft, clip, coach)
    assignment = _assign(draft, cause, coach, slug="hands-behind-the-heel", ladder=DEPTH_LADDER)
    practice.publish_lesson(review=draft, by=coach)
    let_time_pass(student, timedelta(days=9))
    done = _send(_open_angle(assignment), "rehearsal_dtl.mp4", "It has become easy.")
    _judge(done, coach, "passed", "That is it.")
    let_time_pass(student, timedelta(days=2))


def _corin(student: Student, coach: User) -> None:
    """Pain: the drill is stopped and stands first in the waiting list."""
    (angle,) = _ask(student, coach, [SETUP], "Show me how you stand to the ball.")
    clip = _send(angle, "setup_heels_dtl.mp4")
    draft = _open(
        clip, coach, "Your weight sits on your heels; that makes everything after it hard."
    )
    cause = diagnosis.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.CAUSE,
        words="your weight stands on your heels at address",
        measurement=_figure(clip, "balance_pct", "address"),
        rule="weight-to-the-heels",
    )
    assignment = practice.assign_drill(
        review=draft, by=coach, drill=_drill(student, "toes-and-heels"), finding=cause
    )
    practice.publish_lesson(review=draft, by=coach)
    let_time_pass(student, timedelta(days=4))
    practice.report_pain(
        student=student,
        by=student.user,
        region="back",
        words="Low down, when I tip forward.",
        assignment=assignment,
    )
    let_time_pass(student, timedelta(hours=1))


def _nell(student: Student, coach: User) -> None:
    """A minor with a guardian: one angle is back, one is missing."""
    behind, _front = _ask(
        student, coach, [BEHIND, FRONT], "One swing from each side. Let somebody hold the gate."
    )
    lessons.send_message(
        student=student, author=student.user, words="Can I film the second one on Saturday?"
    )
    _send(behind, "left_dtl.mp4")
    let_time_pass(student, timedelta(hours=9))


LESSONS: dict[str, Callable[[Student, User], None]] = {
    "wystan": _wystan,
    "oda": _oda,
    "perrin": _perrin,
    "sunniva": _sunniva,
    "brannoc": _brannoc,
    "tilda": _tilda,
    "corin": _corin,
    "nell": _nell,
}
