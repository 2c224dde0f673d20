"""The rows of the waiting list: one row for each thing that waits for a coach. Reads only.

A row has a key of its own, by which it is put off: another thing of the same student stays.
Every list takes a constant number of queries, however many rows there are.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, QuerySet
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import ngettext

from coaching.diagnosis.models import Finding
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.intake.queries import state, waiting_submissions
from coaching.lessons.models import Entry, PutOff
from coaching.lessons.queries import heard_from, of_students
from coaching.lessons.wording.naming import view_from
from coaching.people.models import Student
from coaching.practice.models import Attempt
from coaching.practice.queries.judged import attempts_of
from coaching.practice.queries.ladders import checks_due, due_for_new_look, verdict_of
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


@dataclass(frozen=True)
class Row:
    """One line of the waiting list: a sentence, what was measured, one action."""

    group: str
    kind: str  # pain, clip, drill, text, answer, look, check, quiet
    about: int  # the row it tells of: with `kind` it names this line
    student: Student
    sentence: str
    since: datetime
    action: str
    url: str
    what: str = ""  # the same in a few words, for a line of the list
    promised_at: datetime | None = None
    # What can be done without leaving the list: a label, and where its button posts.
    posts: Sequence[tuple[str, str]] = ()
    submission: Submission | None = None
    attempt: Attempt | None = None
    clips: Sequence[Submission] = ()

    until: datetime | None = None  # put off so long

    @property
    def later(self) -> list[tuple[int, str, bool]]:
        """How long it may be put off: days, words, and whether that breaks its promise."""
        now = timezone.now()
        return [
            (days, str(text), bool(self.promised_at and now + timedelta(days) > self.promised_at))
            for days, text in LATER
        ]

    @property
    def key(self) -> str:
        """What it is put off by: another thing of the same student keeps its place."""
        return f"{self.kind}-{self.about}"

    @property
    def order(self) -> tuple[int, datetime]:
        """Pain first, then what is closest to its promise, then new looks, then the rest."""
        return (GROUPS.index(self.group), self.promised_at or self.since)


def waiting_list(students: QuerySet[Student], *, text: str = "") -> list[Row]:
    """Everything that waits for the coach and is not put off, most urgent first."""
    return waiting_and_put_off(students, text=text)[0]


def put_off(students: QuerySet[Student]) -> list[Row]:
    """What was put off and still waits, the first to come back first."""
    return waiting_and_put_off(students)[1]


def waiting_and_put_off(
    students: QuerySet[Student], *, text: str = ""
) -> tuple[list[Row], list[Row]]:
    """Both lists, from the same rows.

    Parameters
    ----------
    students : QuerySet
        Whose things are shown; see `people.access.students_taught`.
    text : str
        Only waiting rows whose student or sentence holds every one of these words.
    """
    rows, wanted = _rows(students), text.lower().split()
    waiting = [
        row
        for row in rows
        if row.until is None
        and all(w in f"{row.student.name} {row.sentence} {row.what}".lower() for w in wanted)
    ]
    later = [row for row in rows if row.until is not None]
    return (
        sorted(waiting, key=lambda row: row.order),
        sorted(later, key=lambda row: row.until or row.since),
    )


def quiet_students(students: QuerySet[Student]) -> list[Row]:
    return sorted(_quiet(students), key=lambda row: row.since)


def _rows(students: QuerySet[Student]) -> list[Row]:
    rows = [
        *_pain(students),
        *_clips(students),
        *_new_looks(students),
        *_answers(students),
        *_messages(students),
        *_quiet(students),
    ]
    later = PutOff.objects.filter(student__in=students, until__gt=timezone.now())
    until = {(row.student_id, row.thing): row.until for row in later}
    return [replace(row, until=until.get((row.student.pk, row.key))) for row in rows]


def _pain(students: QuerySet[Student]) -> Iterable[Row]:
    for report in open_pain(students):
        urgent = _(" Urgent signs were named.") if report.urgent else ""
        region = report.get_region_display()
        yield Row(
            group="pain" if report.seen_at is None else "rest",
            kind="pain",
            about=report.pk,
            what=_("%(region)s hurts.%(urgent)s Drills that load it are stopped.")
            % {"region": region.capitalize(), "urgent": urgent},
            student=report.student,
            sentence=_("reports pain: %(region)s.%(urgent)s Drills that load it are stopped.")
            % {"region": region, "urgent": urgent},
            since=report.created_at,
            action=_("Read the report"),
            url=reverse("practice:pain_report", args=[report.pk]),
        )


def _clips(students: QuerySet[Student]) -> Iterable[Row]:
    """Attempts one by one; clips of one request together, as they are reviewed together."""
    clips = [clip for clip in waiting_submissions(students) if state(clip) in {"ready", "failed"}]
    attempts = attempts_of(clips)
    together: dict[tuple[str, int], list[Submission]] = {}
    for clip in clips:
        key = ("clip", clip.pk)
        if clip.angle is not None and clip.pk not in attempts:
            key = ("request", clip.angle.request_id)
        together.setdefault(key, []).append(clip)
    for row in together.values():
        unjudged = [a for a in attempts.get(row[0].pk, []) if verdict_of(a) is None]
        yield _clip_row(row, unjudged)


def _clip_row(clips: Sequence[Submission], attempts: Sequence[Attempt]) -> Row:
    """One film may be for several drills: the row names them and opens their one page."""
    clip = clips[0]  # the one with the nearest promise
    attempt = attempts[0] if attempts else None
    failed = next((c for c in clips if state(c) == "failed"), None)
    if attempt:
        action, url = _("Judge"), reverse("practice:judge", args=[attempt.pk])
    else:
        action, url = _("Review"), reverse("review:room", args=[clip.pk])
    sentence = _tried(attempts) if attempt else _sent(clips)
    if failed:
        sentence += " " + _("It could not be measured; look at it or try again.")
    what = " · ".join(map(_tried_briefly, attempts)) if attempt else _sent_briefly(clips)
    return Row(
        group="promised",
        kind="drill" if attempt else "clip",
        about=attempt.pk if attempt else min(c.pk for c in clips),
        what=_("could not be measured · %(what)s") % {"what": what} if failed else what,
        clips=clips,
        student=clip.student,
        sentence=sentence,
        since=clip.created_at,
        promised_at=clip.promised_at,
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


def _new_looks(students: QuerySet[Student]) -> Iterable[Row]:
    for finding in due_for_new_look(students):
        yield Row(
            group="look_again",
            kind="look",
            about=finding.pk,
            what=_("The cause has passed: is “%(text)s” still there?") % {"text": finding.text},
            student=finding.student,
            sentence=_("is due for a new look: the cause of “%(text)s” has passed.")
            % {"text": finding.text},
            since=finding.look_again_at or finding.created_at,
            action=_("Look again"),
            url=reverse("diagnosis:shown", args=[finding.student_id]),
        )
    for assignment in checks_due(students):
        yield Row(
            group="look_again",
            kind="check",
            about=assignment.pk,
            what=_("Climbed “%(drill)s”: a check film is due.")
            % {"drill": assignment.drill_version.title},
            student=assignment.student,
            sentence=_("climbed “%(drill)s”; a check film is due.")
            % {"drill": assignment.drill_version.title},
            since=assignment.closed_at or assignment.created_at,
            action=_("Look at the drill"),
            url=reverse("practice:drill", args=[assignment.pk]),
            posts=(
                (_("Ask for a check film"), reverse("practice:check_film", args=[assignment.pk])),
                (_("No check film"), reverse("practice:skip_check", args=[assignment.pk])),
            ),
        )


def _answers(students: QuerySet[Student]) -> Iterable[Row]:
    answered = Finding.objects.filter(
        student__in=students,
        kind=Finding.Kind.QUESTION,
        answered_at__isnull=False,
        closed_at__isnull=True,
    ).select_related("student")
    for finding in answered:
        yield Row(
            group="rest",
            kind="answer",
            about=finding.pk,
            what=f"“{finding.answer}”",
            student=finding.student,
            sentence=_("answered “%(text)s”: %(answer)s")
            % {"text": finding.text, "answer": finding.answer},
            since=finding.answered_at or finding.created_at,
            action=_("Read the answer"),
            url=reverse("diagnosis:shown", args=[finding.student_id]),
        )


def _messages(students: QuerySet[Student]) -> Iterable[Row]:
    """Words of students and guardians that nobody has answered. Reading is no answer."""
    conversations: dict[int, list[Entry]] = {}
    for entry in _unanswered(students):
        conversations.setdefault(entry.thread_id, []).append(entry)
    people = {
        student.thread.pk: student
        for student in Student.objects.filter(thread__in=conversations).select_related("thread")
    }
    for thread, entries in conversations.items():
        first, more = entries[0], len(entries) - 1
        sentence = _("wrote: %(text)s") % {"text": first.text[:160]}
        if more:
            sentence += " " + ngettext("(and once more)", "(and %(n)d times more)", more) % {
                "n": more
            }
        student = people[thread]
        yield Row(
            group="rest",
            kind="text",
            about=entries[-1].pk,
            what=f"“{first.text[:160]}”",
            student=student,
            sentence=sentence,
            since=first.created_at,
            action=_("Answer"),
            url=reverse("thread", args=[student.pk]),
        )


def _unanswered(students: QuerySet[Student]) -> list[Entry]:
    """Messages since which no coach has written. A word about a clip goes with its clip."""
    answers = Entry.objects.filter(
        thread=OuterRef("thread"),
        kind=Entry.Kind.MESSAGE,
        pk__gt=OuterRef("pk"),
        author__memberships__studio=OuterRef("thread__student__studio"),
    )
    entries = list(
        of_students(Entry.objects.filter(thread__student__in=students, kind=Entry.Kind.MESSAGE))
        .filter(~Exists(answers), no_answer_at=None)
        .only("thread", "text", "refs", "created_at")
        .order_by("pk")
    )
    about = {entry.refs["submission"] for entry in entries if "submission" in entry.refs}
    answered = dict(Submission.objects.filter(pk__in=about).values_list("pk", "answered_at"))
    return [entry for entry in entries if not _told_with_clip(entry, answered)]


def _told_with_clip(entry: Entry, answered: Mapping[int, datetime | None]) -> bool:
    clip = entry.refs.get("submission")
    if clip not in answered:
        return False
    return answered[clip] is None or answered[clip] >= entry.created_at  # type: ignore[operator]


def _quiet(students: QuerySet[Student]) -> Iterable[Row]:
    """Students who were asked two weeks ago or more, and have not been heard from since.

    Only their own deeds count: what the coach wrote meanwhile is no sign of life.
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
    quiet = (
        heard_from(students.filter(joined_at__isnull=False, closed_at__isnull=True))
        .annotate(quiet_at=Coalesce("heard_at", "joined_at"))
        .filter(Exists(open_angles), Exists(asked), quiet_at__lt=now - QUIET_AFTER)
        .order_by("pk")
    )
    for student in quiet:
        days = (now - student.quiet_at).days
        yield Row(
            group="rest",
            kind="quiet",
            about=student.pk,
            what=ngettext("quiet for one day", "quiet for %(days)d days", days) % {"days": days},
            student=student,
            sentence=ngettext(
                "has been quiet for one day.", "has been quiet for %(days)d days.", days
            )
            % {"days": days},
            since=student.quiet_at,
            action=_("Write a word"),
            url=reverse("thread", args=[student.pk]),
        )
