"""How each student of the demo has fared."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from coaching.demo.acts import (
    BEHIND,
    DEPTH_LADDER,
    FRONT,
    SETUP,
    TURN_LADDER,
    ask_for,
    assign,
    drill_of,
    judge,
    let_time_pass,
    let_wait,
    little_turn,
    open_angle,
    open_answer,
    person_of,
    send_clip,
    shallow_hands,
    take_suggested,
)
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings, planning
from coaching.lessons import services as lessons
from coaching.people.models import Student, User
from coaching.practice.services import assigning, stopping
from coaching.review.services import sending


def _wystan(student: Student, coach: User) -> None:
    """To review: two clips came back together."""
    behind, front = ask_for(
        student, coach, [BEHIND, FRONT], "Your usual full swing, one from each side, please."
    )
    send_clip(behind, "baseline_dtl.mp4", "This is how it feels most days. I catch it thin.")
    send_clip(front, "baseline_face_on.mp4")
    let_time_pass(student, timedelta(hours=41))


def _oda(student: Student, coach: User) -> None:
    """Asked, and gone quiet."""
    ask_for(student, coach, [SETUP], "Only how you stand. No swing yet.")
    let_time_pass(student, timedelta(days=19))


def _perrin(student: Student, coach: User) -> None:
    """Has to film again: the feet were not in the picture."""
    (angle,) = ask_for(student, coach, [SETUP], "Show me how you stand to the ball.")
    let_time_pass(student, timedelta(days=1))
    send_clip(angle, "feet_cut.mp4")
    let_time_pass(student, timedelta(hours=2))


def _sunniva(student: Student, coach: User) -> None:
    """A question about the hip before anything is prescribed."""
    (angle,) = ask_for(student, coach, [BEHIND], "A comfortable swing, nothing forced.")
    clip = send_clip(angle, "halfway_dtl.mp4", "The right side feels short.")
    let_wait(clip, hours=21)
    draft = open_answer(clip, coach, "Before I ask you to turn more, one question about your hip.")
    question = findings.add_finding(
        review=draft,
        by=coach,
        kind=Finding.Kind.QUESTION,
        text="your right hip may not let you turn further",
        entry="ask-the-hip",
        body_note=student.body_notes.first(),
    )
    findings.link(by=coach, effect=take_suggested(draft, coach, "hands-lack-depth"), cause=question)
    sending.publish_review(review=draft, by=coach)
    let_time_pass(student, timedelta(hours=30))


def _brannoc(student: Student, coach: User) -> None:
    """In drills: three repetitions came back and wait for a verdict."""
    (angle,) = ask_for(student, coach, [BEHIND], "Your usual swing down the line.")
    clip = send_clip(angle, "baseline_dtl.mp4", "I stand up. Everybody tells me to stay down.")
    let_wait(clip, hours=26)
    draft = open_answer(
        clip,
        coach,
        "You do stand up, and for now that is right: with so little turn the shaft stands so"
        " upright that you would hit the ground otherwise. So we change the turn and the shaft"
        " first and leave the rest alone.",
    )
    cause = little_turn(draft, coach)
    planning.keep_note(
        by=coach, review=draft, text="Play as you always do. Count to two on the way back."
    )
    assignment = assign(draft, cause, coach, slug="turn-and-lay-it-down", ladder=TURN_LADDER)
    sending.publish_review(review=draft, by=coach)
    let_time_pass(student, timedelta(days=6))
    first = send_clip(
        open_angle(assignment), "rehearsal_dtl.mp4", "Feels like I lay it on a shelf."
    )
    let_wait(first, hours=9)
    judge(first, coach, "passed", "That shelf is the feeling. Keep it.")
    let_time_pass(student, timedelta(days=3))
    send_clip(open_angle(assignment), "rehearsal_dtl_three.mp4", "Three in a row, as asked.")
    let_time_pass(student, timedelta(hours=20))


def _tilda(student: Student, coach: User) -> None:
    """Passed: what was left alone is due for a new look."""
    (angle,) = ask_for(student, coach, [BEHIND], "Your usual swing down the line.")
    clip = send_clip(angle, "halfway_dtl.mp4")
    let_wait(clip, hours=33)
    draft = open_answer(clip, coach, "One thing first: where your hands are at the top.")
    cause = shallow_hands(draft, coach)
    assignment = assign(draft, cause, coach, slug="hands-behind-the-heel", ladder=DEPTH_LADDER)
    sending.publish_review(review=draft, by=coach)
    let_time_pass(student, timedelta(days=9))
    done = send_clip(open_angle(assignment), "rehearsal_dtl.mp4", "It has become easy.")
    let_wait(done, hours=14)
    judge(done, coach, "passed", "That is it.")
    let_time_pass(student, timedelta(days=2))


def _corin(student: Student, coach: User) -> None:
    """Pain: the drill is stopped and stands first in the waiting list."""
    (angle,) = ask_for(student, coach, [SETUP], "Show me how you stand to the ball.")
    clip = send_clip(angle, "setup_heels_dtl.mp4")
    let_wait(clip, hours=17)
    draft = open_answer(
        clip, coach, "Your weight sits on your heels; that makes everything after it hard."
    )
    cause = take_suggested(draft, coach, "weight-to-the-heels")
    assignment = assigning.assign_drill(
        review=draft, by=coach, drill=drill_of(student, "toes-and-heels"), finding=cause
    )
    sending.publish_review(review=draft, by=coach)
    let_time_pass(student, timedelta(days=4))
    stopping.report_pain(
        student=student,
        by=person_of(student),
        region="back",
        text="Low down, when I tip forward.",
        assignment=assignment,
    )
    let_time_pass(student, timedelta(hours=1))


def _nell(student: Student, coach: User) -> None:
    """A minor with a guardian: one angle is back, one is missing."""
    behind, _front = ask_for(
        student, coach, [BEHIND, FRONT], "One swing from each side. Let somebody hold the gate."
    )
    lessons.send_message(
        student=student, author=person_of(student), text="Can I film the second one on Saturday?"
    )
    send_clip(behind, "left_dtl.mp4")
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
