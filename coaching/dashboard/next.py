"""What a student reads first, in its order: what happened, then the one thing to do.

Pure: facts in, lines out. Home, e-mails and the API's `next` all show these lines, so that
they never say different things.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.urls import reverse
from django.utils.translation import gettext as _

from coaching.intake.messages import filming_message
from coaching.intake.models import RequestedAngle
from coaching.lessons.wording.deadlines import promise_words
from coaching.practice.models import Verdict

MOST_NEWS = 3


class Kind(StrEnum):
    """What a line is, in the order in which lines are told."""

    # What happened.
    CLIMBED = "climbed"
    PASSED = "passed"
    JUDGED = "judged"
    ANSWERED = "answered"
    # What is next: the first of these that holds.
    BODY = "body"
    QUESTION = "question"
    CONSENT = "consent"
    REFUSED = "refused"
    FILM = "film"
    STOPPED = "stopped"
    CHECKING = "checking"
    WAITING = "waiting"
    NOTHING = "nothing"


HAPPENED = frozenset({Kind.CLIMBED, Kind.PASSED, Kind.JUDGED, Kind.ANSWERED})
# These stand before any news: without them no film may be asked for or shown.
BEFORE_NEWS = frozenset({Kind.BODY, Kind.QUESTION, Kind.CONSENT})


@dataclass(frozen=True)
class Line:
    """One sentence and, mostly, one button; `quote` are the coach's own words.

    `video` is whose picture stands beside it, `clip` one that was sent back, `angle` what to
    film; `is_new` news that nobody has opened.
    """

    kind: Kind
    sentence: str
    quote: str = ""
    label: str = ""
    url: str = ""
    video: int | None = None
    clip: int | None = None
    angle: RequestedAngle | None = None
    is_new: bool = False

    @property
    def has_more(self) -> bool:
        """Whether anything stands below the sentence."""
        return bool(self.url or self.quote or self.video)

    @property
    def stop(self) -> bool:
        return self.kind == Kind.STOPPED


@dataclass(frozen=True)
class Answered:
    """An answer that came; `name` is who gave it."""

    review: int
    name: str
    text: str = ""
    video: int | None = None
    is_read: bool = False


@dataclass(frozen=True)
class JudgedStep:
    """A verdict that came: what was decided about which step, and what that led to."""

    assignment: int
    drill: str
    step: int  # from 1
    decision: str
    cue: str = ""
    step_is_passed: bool = False
    is_climbed: bool = False
    verdict: int = 0
    name: str = ""  # who gave it
    video: int | None = None
    is_read: bool = False


@dataclass(frozen=True)
class Facts:
    """Everything that decides what a student reads first; `happened` newest first.

    `child` is the student's name when a guardian reads, and empty for the student; `coach`
    is who teaches them.
    """

    student: int
    child: str = ""
    coach: str = ""
    happened: Sequence[Answered | JudgedStep] = ()
    body_asked: bool = True
    question: int | None = None
    consent_missing: bool = False
    may_consent: bool = True  # for a minor, only the guardian
    refused: int | None = None  # a clip that was sent back
    angle: RequestedAngle | None = None  # what to film now
    stopped: int | None = None  # a drill that pain has stopped
    checking: int | None = None  # a clip that is on its way
    promised_at: datetime | None = None  # of the clip that waits for the coach
    promised_video: int | None = None
    in_letter: bool = False  # read on another day than it is written


def lines(facts: Facts) -> list[Line]:
    """What happened since the student last sent something, then exactly one next thing."""
    return [*(_happened(row, facts) for row in facts.happened[:MOST_NEWS]), _next(facts)]


def first_of(told: Sequence[Line]) -> Line:
    """The one line that leads: body, question and consent, then unopened news, then the rest."""
    *happened, following = told
    if following.kind in BEFORE_NEWS:
        return following
    return next((line for line in happened if line.is_new), following)


def _happened(row: Answered | JudgedStep, facts: Facts) -> Line:
    name = row.name or _("Your coach")
    if isinstance(row, Answered):
        return Line(
            Kind.ANSWERED,
            _("%(name)s has answered.") % {"name": name},
            quote=row.text,
            label=_("See the answer"),
            url=reverse("review:read", args=[row.review]),
            video=row.video,
            is_new=not row.is_read,
        )
    kind, sentence = _child_verdict(row) if facts.child else _verdict(row)
    return Line(
        kind,
        sentence % {"drill": row.drill, "step": row.step, "child": facts.child},
        quote=row.cue,
        label=_("See what %(name)s says") % {"name": name.split()[0]}
        if row.name
        else _("See the verdict"),
        url=reverse("practice:verdict_read", args=[row.verdict]),
        video=row.video,
        is_new=not row.is_read,
    )


def _verdict(row: JudgedStep) -> tuple[Kind, str]:
    decisions = Verdict.Decision
    if row.decision == decisions.PASSED and row.is_climbed:
        return Kind.CLIMBED, _("You passed the last step of “%(drill)s”.")
    if row.decision == decisions.PASSED and row.step_is_passed:
        return Kind.PASSED, _("You passed step %(step)d of “%(drill)s”.")
    return Kind.JUDGED, _judged(row)


def _child_verdict(row: JudgedStep) -> tuple[Kind, str]:
    decisions = Verdict.Decision
    if row.decision == decisions.PASSED and row.is_climbed:
        return Kind.CLIMBED, _("%(child)s passed the last step of “%(drill)s”.")
    if row.decision == decisions.PASSED and row.step_is_passed:
        return Kind.PASSED, _("%(child)s passed step %(step)d of “%(drill)s”.")
    return Kind.JUDGED, _judged(row)


def _judged(row: JudgedStep) -> str:
    decisions = Verdict.Decision
    return {
        decisions.PASSED: _("Step %(step)d of “%(drill)s” counts. Once more on another day."),
        decisions.NEARLY: _("Nearly: step %(step)d of “%(drill)s”."),
        decisions.NOT_YET: _("Not yet: step %(step)d of “%(drill)s”."),
        decisions.STEP_BACK: _("One step back in “%(drill)s”."),
        decisions.STOP: _("Your coach has ended “%(drill)s”."),
    }[decisions(row.decision)]


def _next(facts: Facts) -> Line:
    """The body first, then what must be agreed to, a clip that was sent back, then filming."""
    child = {"child": facts.child}
    if not facts.body_asked:
        return Line(
            Kind.BODY,
            _("Before anything else, say what hurts %(child)s or is stiff.") % child
            if facts.child
            else _("Before anything else, tell your coach what hurts or is stiff."),
            label=_("Tell about the body") if facts.child else _("Tell about your body"),
            url=reverse("people:body", args=[facts.student]),
        )
    if facts.question is not None:
        return Line(
            Kind.QUESTION,
            _("The coach has a question about %(child)s’s body before going on.") % child
            if facts.child
            else _("Your coach has a question about your body before you go on."),
            label=_("Answer the question"),
            url=reverse("diagnosis:answer", args=[facts.question]),
        )
    if facts.consent_missing:
        return _consent(facts)
    if facts.refused is not None:
        return Line(
            Kind.REFUSED,
            _("%(child)s’s last clip can’t be judged yet. See what to change and film again.")
            % child
            if facts.child
            else _("Your last clip can’t be judged yet. See what to change and film again."),
            label=_("See how to film again"),
            url=reverse("intake:submission", args=[facts.refused]),
            clip=facts.refused,
        )
    if facts.angle is not None:
        return Line(
            Kind.FILM,
            filming_message(facts.angle, child=facts.child),
            quote=facts.angle.request.text,
            label=_("Film it"),
            url=reverse("intake:film", args=[facts.angle.pk]),
            angle=facts.angle,
        )
    return _nothing_to_do(facts)


def _consent(facts: Facts) -> Line:
    """A consent that was skipped is asked for again: nothing may be stored without it."""
    address = reverse("people:consents", args=[facts.student])
    if facts.child:
        sentence = _("Before %(child)s can send a film, say what you agree to.") % {
            "child": facts.child
        }
        return Line(Kind.CONSENT, sentence, label=_("See what is asked"), url=address)
    if not facts.may_consent:
        return Line(
            Kind.CONSENT,
            _("Before you can send a film, your guardian must agree on their own page."),
            label=_("See what is asked"),
            url=address,
        )
    return Line(
        Kind.CONSENT,
        _("Before you can send a film, say what you agree to."),
        label=_("See what is asked"),
        url=address,
    )


def _nothing_to_do(facts: Facts) -> Line:
    if facts.stopped is not None:
        return Line(
            Kind.STOPPED,
            _(
                "%(child)s’s drill is stopped because it hurt. See a licensed health"
                " professional before it is done again."
            )
            % {"child": facts.child}
            if facts.child
            else _(
                "Your drill is stopped because it hurt. See a licensed health professional"
                " before you do it again."
            ),
            label=_("What happens next"),
            url=reverse("practice:drill", args=[facts.stopped]),
        )
    if facts.promised_at is not None:
        said = {
            "time": promise_words(facts.promised_at, by_name=facts.in_letter),
            "child": facts.child,
        }
        said["coach"] = facts.coach or (_("The coach") if facts.child else _("Your coach"))
        return Line(
            Kind.WAITING,
            _("%(coach)s has %(child)s’s clip and answers by %(time)s.") % said
            if facts.child
            else _("%(coach)s has your clip and answers by %(time)s.") % said,
            video=facts.promised_video,
        )
    if facts.checking is not None:
        return Line(
            Kind.CHECKING,
            _("%(child)s’s clip has arrived and is being checked and measured.")
            % {"child": facts.child}
            if facts.child
            else _("Your clip has arrived and is being checked and measured."),
            label=_("See how far it is"),
            url=reverse("intake:submission", args=[facts.checking]),
        )
    return Line(Kind.NOTHING, _("Nothing to film now. Your coach will ask for the next clip."))
