"""The rows of the waiting list: one row for each thing that waits for a coach. Reads only.

A row has a key of its own, by which it is put off: another thing of the same student stays.
Every list takes a constant number of queries, however many rows there are. Hundreds of things
are counted and ordered where some dozens are read, so that there are two steps: `things_of` takes
only the columns that say which line stands where, `rows_of` makes the rows that are shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db.models import BigIntegerField, Count, Exists, Max, Min, OuterRef, Q, QuerySet
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast, Coalesce, Left
from django.urls import reverse
from django.utils import timezone
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import ngettext

from coaching.diagnosis.models import Finding
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.intake.queries import Came, State, that_came
from coaching.lessons.models import Entry, PutOff
from coaching.lessons.queries import heard_from, of_students
from coaching.lessons.wording.naming import view_from
from coaching.people.models import Membership, Student
from coaching.practice.models import Assignment, Attempt, PainReport
from coaching.practice.queries.ladders import checks_due, due_for_new_look
from coaching.practice.queries.pain import open_pain

QUIET_AFTER = timedelta(days=14)
LATER = ((1, _l("Tomorrow")), (3, _l("In three days")), (7, _l("In a week")))
FILMS = {
    "setup": _l("the set-up"),
    "hold": _l("a held position"),
    "rehearsal": _l("a slow rehearsal"),
    "swing": _l("a swing"),
    "bar": _l("a turn with a held club"),
}
GROUPS = ("pain", "promised", "look_again", "rest")


SHOWN_OF_TEXT = 160


@dataclass(frozen=True)
class Thing:
    """What waits, before its words: enough to count it and to say where its line stands."""

    group: str
    kind: str  # pain, clip, drill, text, answer, look, check, quiet
    about: int  # the row it tells of: with `kind` it names this line
    student: int
    since: datetime
    of: Clips | Said | None = None  # what more its row is made of
    promised_at: datetime | None = None
    until: datetime | None = None  # put off so long

    @property
    def key(self) -> str:
        """What it is put off by: another thing of the same student keeps its place."""
        return f"{self.kind}-{self.about}"

    @property
    def order(self) -> tuple[int, datetime]:
        """Pain first, then what is closest to its promise, then new looks, then the rest."""
        return (GROUPS.index(self.group), self.promised_at or self.since)


@dataclass(frozen=True)
class Clips:
    """Clips that are answered together, the nearest promise first."""

    clips: tuple[int, ...]
    attempts: tuple[int, ...]  # what they were filmed for and that has no verdict
    has_failed: bool


@dataclass(frozen=True)
class Said:
    """Messages of one thread that nobody has answered."""

    first: int
    count: int


@dataclass(frozen=True)
class Row:
    """One line of the waiting list: a sentence, what was measured, one action."""

    thing: Thing
    student: Student
    sentence: str
    action: str
    url: str
    what: str = ""  # the same in a few words, for a line of the list
    # What can be done without leaving the list: a label, and where its button posts.
    posts: Sequence[tuple[str, str]] = ()
    submission: Submission | None = None
    attempt: Attempt | None = None
    clips: Sequence[Submission] = ()

    @property
    def group(self) -> str:
        return self.thing.group

    @property
    def kind(self) -> str:
        return self.thing.kind

    @property
    def about(self) -> int:
        return self.thing.about

    @property
    def key(self) -> str:
        return self.thing.key

    @property
    def since(self) -> datetime:
        return self.thing.since

    @property
    def promised_at(self) -> datetime | None:
        return self.thing.promised_at

    @property
    def until(self) -> datetime | None:
        return self.thing.until

    @property
    def later(self) -> list[tuple[int, str, bool]]:
        """How long it may be put off: days, words, and whether that breaks its promise."""
        now = timezone.now()
        return [
            (days, str(text), bool(self.promised_at and now + timedelta(days) > self.promised_at))
            for days, text in LATER
        ]

    def holds(self, words: Sequence[str]) -> bool:
        """Whether its student or sentence holds every one of these, in small letters."""
        said = f"{self.student.name} {self.sentence} {self.what}".lower()
        return all(word in said for word in words)


def waiting_list(students: QuerySet[Student], *, text: str = "") -> list[Row]:
    """Everything that waits for the coach and is not put off, most urgent first.

    Parameters
    ----------
    students : QuerySet
        Whose things are shown; see `people.access.students_taught`.
    text : str
        Only rows whose student or sentence holds every one of these words.
    """
    waiting = sorted(waiting_of(things_of(students)), key=lambda thing: thing.order)
    words = text.lower().split()
    return [row for row in rows_of(waiting) if row.holds(words)]


def put_off(students: QuerySet[Student]) -> list[Row]:
    """What was put off and still waits, the first to come back first."""
    return rows_of(put_off_of(things_of(students)))


def quiet_students(students: QuerySet[Student]) -> list[Row]:
    return rows_of(sorted(_quiet(students), key=lambda thing: thing.since))


def waiting_of(things: Iterable[Thing]) -> list[Thing]:
    return [thing for thing in things if thing.until is None]


def put_off_of(things: Iterable[Thing]) -> list[Thing]:
    later = [thing for thing in things if thing.until is not None]
    return sorted(later, key=lambda thing: thing.until or thing.since)


def things_of(students: QuerySet[Student]) -> list[Thing]:
    """Everything that waits, put off or not."""
    things = [
        *_pain(students),
        *_clips(students),
        *_new_looks(students),
        *_answers(students),
        *_messages(students),
        *_quiet(students),
    ]
    later = PutOff.objects.filter(student__in=students, until__gt=timezone.now())
    until = {(who, key): at for who, key, at in later.values_list("student", "thing", "until")}
    if not until:
        return things
    return [replace(thing, until=until.get((thing.student, thing.key))) for thing in things]


def rows_of(things: Sequence[Thing]) -> list[Row]:
    """The rows of these, in the same order; what was removed meanwhile has none."""
    keys: dict[str, list[int]] = defaultdict(list)
    for thing in things:
        if isinstance(thing.of, Clips):
            keys["clip"] += thing.of.clips
            keys["drill"] += thing.of.attempts
        elif isinstance(thing.of, Said):
            keys["text"].append(thing.of.first)
        else:
            keys[thing.kind].append(thing.about)
    texts = _texts(keys.pop("text", ()))
    found = {kind: _TABLES[kind].in_bulk(pks) for kind, pks in keys.items() if pks}
    people = Student.objects.in_bulk({thing.student for thing in things}) if things else {}
    rows = []
    for thing in things:
        student = people.get(thing.student)
        if student is None:
            continue
        if isinstance(thing.of, Said):
            if thing.of.first in texts:
                text = texts[thing.of.first]
                rows.append(_message_row(thing, student, text, thing.of.count))
        elif isinstance(thing.of, Clips):
            clips = [found["clip"][pk] for pk in thing.of.clips if pk in found["clip"]]
            tried = [found["drill"][pk] for pk in thing.of.attempts if pk in found["drill"]]
            if clips and (tried or not thing.of.attempts):
                for clip in clips:
                    clip.student = student
                rows.append(_clip_row(thing, student, clips, tried))
        elif thing.about in found[thing.kind]:
            rows.append(_ROWS[thing.kind](thing, student, found[thing.kind][thing.about]))
    return rows


def _pain(students: QuerySet[Student]) -> Iterable[Thing]:
    columns = ("pk", "student", "created_at", "seen_at")
    for pk, who, at, seen_at in open_pain(students).values_list(*columns):
        yield Thing("pain" if seen_at is None else "rest", "pain", pk, who, at)


def _pain_row(thing: Thing, student: Student, report: PainReport) -> Row:
    urgent = _(" Urgent signs were named.") if report.urgent else ""
    region = report.get_region_display()
    return Row(
        thing,
        what=_("%(region)s hurts.%(urgent)s Drills that load it are stopped.")
        % {"region": region.capitalize(), "urgent": urgent},
        student=student,
        sentence=_("reports pain: %(region)s.%(urgent)s Drills that load it are stopped.")
        % {"region": region, "urgent": urgent},
        action=_("Read the report"),
        url=reverse("practice:pain_report", args=[report.pk]),
    )


def _clips(students: QuerySet[Student]) -> Iterable[Thing]:
    """Attempts one by one; clips of one request together, as they are reviewed together."""
    clips = [clip for clip in that_came(students) if clip.state in {State.READY, State.FAILED}]
    angles = [clip.angle for clip in clips if clip.angle]
    tried: dict[int, list[int]] = {}  # by angle, those without a verdict
    found = Attempt.objects.filter(angle__in=angles).order_by("pk")
    for angle, pk, verdict in found.values_list("angle", "pk", "verdict"):
        tried.setdefault(angle, []).extend([] if verdict else [pk])
    together: dict[tuple[str, int], list[Came]] = {}
    for clip in clips:
        key = ("clip", clip.pk)
        if clip.angle and clip.angle not in tried and clip.request:
            key = ("request", clip.request)
        together.setdefault(key, []).append(clip)
    for alike in together.values():
        first = alike[0]  # the one with the nearest promise
        attempts = tuple(tried.get(first.angle or 0, ()))
        yield Thing(
            "promised",
            "drill" if attempts else "clip",
            attempts[0] if attempts else min(clip.pk for clip in alike),
            first.student,
            first.sent_at,
            Clips(
                tuple(clip.pk for clip in alike),
                attempts,
                has_failed=any(clip.state == State.FAILED for clip in alike),
            ),
            promised_at=first.promised_at,
        )


def _clip_row(
    thing: Thing, student: Student, clips: Sequence[Submission], attempts: Sequence[Attempt]
) -> Row:
    """One film may be for several drills: the row names them and opens their one page."""
    assert isinstance(thing.of, Clips)
    clip = clips[0]
    attempt = attempts[0] if attempts else None
    if attempt:
        action, url = _("Judge"), reverse("practice:judge", args=[attempt.pk])
    else:
        action, url = _("Review"), reverse("review:room", args=[clip.pk])
    sentence = _tried(attempts) if attempt else _sent(clips)
    what = " · ".join(map(_tried_briefly, attempts)) if attempt else _sent_briefly(clips)
    if thing.of.has_failed:
        sentence += " " + _("It could not be measured; look at it or try again.")
        what = _("could not be measured · %(what)s") % {"what": what}
    return Row(
        thing,
        what=what,
        clips=clips,
        student=student,
        sentence=sentence,
        action=action,
        url=url,
        submission=clip,
        attempt=attempt,
    )


def _tried_briefly(attempt: Attempt) -> str:
    return _("%(drill)s, step %(step)d") % {
        "drill": attempt.step.assignment.drill_version.title,
        "step": attempt.step.position + 1,
    }


def _sent_briefly(clips: Sequence[Submission]) -> str:
    """Such as: 2 films, a swing · “I catch it thin”."""
    films = ngettext("%(n)d film", "%(n)d films", len(clips)) % {"n": len(clips)}
    parts = [f"{films}, {FILMS[clips[0].video.kind]}"]
    if said := next((clip.text for clip in clips if clip.text), ""):
        parts.append(f"“{said}”")
    return " · ".join(parts)


def _tried(attempts: Sequence[Attempt]) -> str:
    one = _("“%(drill)s”, step %(step)d")
    named = [
        one % {"drill": a.step.assignment.drill_version.title, "step": a.step.position + 1}
        for a in attempts
    ]
    view = view_from(attempts[0].step.view)
    return _("tried %(drills)s, %(view)s.") % {
        "drills": get_text_list(named, _("and")),
        "view": view,
    }


def _sent(clips: Sequence[Submission]) -> str:
    """Such as: sent a swing down the line and a swing face on."""
    parts = [f"{FILMS[c.video.kind]} {view_from(c.video.view)}" for c in clips]
    listed = parts[0]
    if len(parts) > 1:
        listed = _("%(some)s and %(last)s") % {"some": ", ".join(parts[:-1]), "last": parts[-1]}
    return _("sent %(films)s.") % {"films": listed}


def _new_looks(students: QuerySet[Student]) -> Iterable[Thing]:
    looks = due_for_new_look(students).values_list("pk", "student", "look_again_at", "created_at")
    for pk, who, again_at, created_at in looks:
        yield Thing("look_again", "look", pk, who, again_at or created_at)
    checks = checks_due(students).values_list("pk", "student", "closed_at", "created_at")
    for pk, who, closed_at, created_at in checks:
        yield Thing("look_again", "check", pk, who, closed_at or created_at)


def _look_row(thing: Thing, student: Student, finding: Finding) -> Row:
    return Row(
        thing,
        what=_("The cause has passed: is “%(text)s” still there?") % {"text": finding.text},
        student=student,
        sentence=_("is due for a new look: the cause of “%(text)s” has passed.")
        % {"text": finding.text},
        action=_("Look again"),
        url=reverse("diagnosis:shown", args=[finding.student_id]),
    )


def _check_row(thing: Thing, student: Student, assignment: Assignment) -> Row:
    drill = {"drill": assignment.drill_version.title}
    return Row(
        thing,
        what=_("Climbed “%(drill)s”: a check film is due.") % drill,
        student=student,
        sentence=_("climbed “%(drill)s”; a check film is due.") % drill,
        action=_("Look at the drill"),
        url=reverse("practice:drill", args=[assignment.pk]),
        posts=(
            (_("Ask for a check film"), reverse("practice:check_film", args=[assignment.pk])),
            (_("No check film"), reverse("practice:skip_check", args=[assignment.pk])),
        ),
    )


def _answers(students: QuerySet[Student]) -> Iterable[Thing]:
    answered = Finding.objects.filter(
        student__in=students,
        kind=Finding.Kind.QUESTION,
        answered_at__isnull=False,
        closed_at__isnull=True,
    )
    columns = ("pk", "student", "answered_at", "created_at")
    for pk, who, answered_at, created_at in answered.values_list(*columns):
        yield Thing("rest", "answer", pk, who, answered_at or created_at)


def _answer_row(thing: Thing, student: Student, finding: Finding) -> Row:
    return Row(
        thing,
        what=f"“{finding.answer}”",
        student=student,
        sentence=_("answered “%(text)s”: %(answer)s")
        % {"text": finding.text, "answer": finding.answer},
        action=_("Read the answer"),
        url=reverse("diagnosis:shown", args=[finding.student_id]),
    )


def _messages(students: QuerySet[Student]) -> Iterable[Thing]:
    """Words of students and guardians that nobody has answered. Reading is no answer."""
    for who, first, last, count, at in _unanswered(students):
        yield Thing("rest", "text", last, who, at, Said(first, count))


def _texts(entries: Collection[int]) -> dict[int, str]:
    """How these messages begin. No query for none."""
    if not entries:
        return {}
    rows = Entry.objects.filter(pk__in=entries).order_by()
    return dict(rows.values_list("pk", Left("text", SHOWN_OF_TEXT)))


def _unanswered(students: QuerySet[Student]) -> Iterable[tuple[int, int, int, int, datetime]]:
    """Messages that no coach has written after: student, the first, the last, how many, since when.

    A word about a clip goes with its clip. Who works there is named, though the join says so too:
    PostgreSQL knows then that few have written the answers, and does not read every studio's.
    """
    studios = students.order_by().values("studio")
    staff = Membership.objects.filter(studio__in=studios).values_list("user", flat=True)
    answers = Entry.objects.filter(
        thread=OuterRef("thread"),
        kind=Entry.Kind.MESSAGE,
        pk__gt=OuterRef("pk"),
        author__in=list(staff),
        author__memberships__studio=OuterRef("thread__student__studio"),
    )
    about = Cast(KeyTextTransform("submission", OuterRef("refs")), BigIntegerField())
    told_with_clip = Submission.objects.filter(
        Q(answered_at=None) | Q(answered_at__gte=OuterRef("created_at")), pk=about
    )
    return (
        of_students(Entry.objects.filter(thread__student__in=students, kind=Entry.Kind.MESSAGE))
        .filter(~Exists(answers), ~Exists(told_with_clip), no_answer_at=None)
        .order_by("thread__student")
        .values("thread__student")
        .annotate(first=Min("pk"), last=Max("pk"), count=Count("pk"), at=Min("created_at"))
        .values_list("thread__student", "first", "last", "count", "at")
    )


def _message_row(thing: Thing, student: Student, text: str, count: int) -> Row:
    sentence, more = _("wrote: %(text)s") % {"text": text}, count - 1
    if more:
        sentence += " " + ngettext("(and once more)", "(and %(n)d times more)", more) % {"n": more}
    return Row(
        thing,
        what=f"“{text}”",
        student=student,
        sentence=sentence,
        action=_("Answer"),
        url=reverse("thread", args=[student.pk]),
    )


def _quiet(students: QuerySet[Student]) -> Iterable[Thing]:
    """Students who were asked two weeks ago or more, and have not been heard from since.

    Only their own deeds count: what the coach wrote meanwhile is no sign of life. Whoever was not
    asked is left out first: looking for what a student did last reads their thread.
    """
    now = timezone.now()
    open_angles = RequestedAngle.objects.filter(
        request__student=OuterRef("pk"),
        request__closed_at__isnull=True,
        request__suspended_at__isnull=True,
        submissions__isnull=True,
    )
    asked = Request.objects.filter(
        student=OuterRef("pk"),
        closed_at__isnull=True,
        suspended_at__isnull=True,
        created_at__lt=now - QUIET_AFTER,
    )
    active = students.filter(joined_at__isnull=False, closed_at__isnull=True)
    owing = list(active.filter(Exists(asked), Exists(open_angles)).values_list("pk", flat=True))
    if not owing:
        return
    quiet = (
        heard_from(Student.objects.filter(pk__in=owing))
        .annotate(quiet_at=Coalesce("heard_at", "joined_at"))
        .filter(quiet_at__lt=now - QUIET_AFTER)
        .order_by("pk")
    )
    for pk, since in quiet.values_list("pk", "quiet_at"):
        yield Thing("rest", "quiet", pk, pk, since)


def _quiet_row(thing: Thing, student: Student, _same: Student) -> Row:
    days = (timezone.now() - thing.since).days
    return Row(
        thing,
        what=ngettext("quiet for one day", "quiet for %(days)d days", days) % {"days": days},
        student=student,
        sentence=ngettext("has been quiet for one day.", "has been quiet for %(days)d days.", days)
        % {"days": days},
        action=_("Write a word"),
        url=reverse("thread", args=[student.pk]),
    )


_TABLES: dict[str, QuerySet[Any]] = {
    "pain": PainReport.objects.all(),
    "clip": Submission.objects.select_related("video", "angle"),
    "drill": Attempt.objects.select_related("step__assignment__drill_version"),
    "look": Finding.objects.all(),
    "check": Assignment.objects.select_related("drill_version"),
    "answer": Finding.objects.all(),
    "quiet": Student.objects.all(),
}
_ROWS: dict[str, Callable[[Thing, Student, Any], Row]] = {
    "pain": _pain_row,
    "look": _look_row,
    "check": _check_row,
    "answer": _answer_row,
    "quiet": _quiet_row,
}
