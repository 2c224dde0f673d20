"""The waiting list as a page: sections by promise, filters, one row opened. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import Max, QuerySet
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from coaching.dashboard import rows as waiting_rows
from coaching.dashboard.rows import Clips, Row, Thing
from coaching.diagnosis.suggestions import stand_out
from coaching.intake.models import Submission
from coaching.kept import cache
from coaching.lessons.models import Entry
from coaching.people.models import Student, User
from coaching.practice.criteria import Suggested as Says
from coaching.practice.queries.judged import Judged, judged
from coaching.practice.queries.pain import report_sheet
from coaching.review.models import Review
from coaching.review.presence import open_to_others

PAGE = 25
COUNT_KEPT_S = 60
MOST_STANDING_OUT = 5
SECTIONS = {
    "pain": _("Pain"),
    "past": _("Past the promise"),
    "today": _("Promised for today"),
    "later": _("Promised for tomorrow and later"),
    "asked": _("Asked you something"),
    "look": _("Due for a new look"),
    "quiet": _("Gone quiet"),
}
# What a filter shows: its name and the kinds of rows.
KINDS: dict[str, tuple[Any, set[str]]] = {
    "clips": (_("Clips"), {"clip"}),
    "drills": (_("Drills"), {"drill", "check"}),
    "text": (_("Words"), {"text", "answer", "pain"}),
    "quiet": (_("Quiet"), {"quiet", "look"}),
}
DRAFTS = "drafts"  # a filter of its own: clips whose answer somebody has begun
ICONS = {
    "pain": "hurt", "clip": "film", "drill": "drill", "check": "drill", "text": "word",
    "answer": "word", "look": "eye", "quiet": "off",
}  # fmt: skip
PANES = {"quiet": "text", "answer": "text", "check": "look"}  # opened like these


@dataclass(frozen=True)
class Line:
    """A row as the list shows it."""

    row: Row
    section: str
    video: int | None = None
    judged: Judged | None = None
    draft: str = ""  # who has begun an answer
    open_to: str = ""  # colleagues who have the lesson open just now

    @property
    def pick_words(self) -> str:
        return gettext("Pick %(name)s") % {"name": self.row.student.name}

    @property
    def icon(self) -> str:
        return ICONS[self.row.kind]

    @property
    def says(self) -> Says | None:
        return self.judged.suggestion.says if self.judged else None

    @property
    def stone(self) -> str:
        """The mark of what the figures say of a drill's film."""
        marks = {Says.PASSES: "done", Says.DOES_NOT: "leave", Says.CANNOT_TELL: "ask"}
        return marks.get(self.says, "") if self.says else ""


@dataclass(frozen=True)
class Page:
    lines: list[Line]
    total: int  # rows that wait, whatever the filter
    found: int  # rows of the filter
    sections: dict[str, int]
    kinds: list[tuple[str, Any, int]]
    number: int = 1
    pages: int = 1
    opened: Row | None = None  # the row that was asked for, else the first of the page
    put_off: list[Row] = field(default_factory=list)  # whatever the filter

    @property
    def before(self) -> int:
        return self.number - 1

    @property
    def after(self) -> int:
        return self.number + 1


def section_of(thing: Thing, now: datetime, today: date) -> str:
    """`today` is the day of `now` on the reader's clock."""
    if thing.kind == "pain":
        return "pain"
    if thing.promised_at is not None:
        if thing.promised_at < now:
            return "past"
        return "today" if timezone.localdate(thing.promised_at) <= today else "later"
    return {"look": "look", "check": "look", "quiet": "quiet"}.get(thing.kind, "asked")


def page_of(
    students: QuerySet[Student],
    *,
    text: str = "",
    kind: str = "",
    number: int = 1,
    at: str = "",
    reader: User | None = None,
) -> Page:
    """One page of the list with the row of the key `at` opened, else its first.

    What only its lines say is read for them alone; a search reads every row.
    """
    now = timezone.now()
    everything = waiting_rows.things_of(students)
    things, later = waiting_rows.waiting_of(everything), waiting_rows.put_off_of(everything)
    if words := text.lower().split():
        things = [row.thing for row in waiting_rows.rows_of(things) if row.holds(words)]
    counts = Counter(thing.kind for thing in things)
    kinds = [(name, label, sum(counts[k] for k in shown)) for name, (label, shown) in KINDS.items()]
    drafts = _drafts(students, things)
    if drafts:
        kinds.append((DRAFTS, _("Drafts"), len(drafts)))
    wanted = [thing for thing in things if kind not in KINDS or thing.kind in KINDS[kind][1]]
    if kind == DRAFTS:
        wanted = [thing for thing in things if thing.key in drafts]
    order, today = list(SECTIONS), timezone.localdate(now)
    placed = sorted(
        ((section_of(thing, now, today), thing) for thing in wanted),
        key=lambda pair: (order.index(pair[0]), pair[1].order[1]),
    )
    pages = max(1, -(-len(placed) // PAGE))
    number = min(max(number, 1), pages)
    shown = placed[(number - 1) * PAGE : number * PAGE]
    first = shown[0][1].key if shown else ""
    opened = next((thing for thing in wanted if thing.key == at), None)
    asked = {thing.key: thing for _section, thing in shown} | {t.key: t for t in later}
    if opened is not None:
        asked[opened.key] = opened
    rows = {row.key: row for row in waiting_rows.rows_of(list(asked.values()))}
    lines = [(section, rows[thing.key]) for section, thing in shown if thing.key in rows]
    return Page(
        lines=_lines(lines, drafts, reader),
        opened=rows.get(opened.key if opened else first),
        total=len(things),
        found=len(wanted),
        sections=dict(Counter(section for section, _thing in placed)),
        kinds=kinds,
        number=number,
        pages=pages,
        put_off=[rows[thing.key] for thing in later if thing.key in rows],
    )


def _drafts(students: QuerySet[Student], things: Sequence[Thing]) -> dict[str, str]:
    """By the row's key: who has begun an answer to one of its clips. One query."""
    clips = (thing for thing in things if thing.kind == "clip")
    by_clip = {pk: t.key for t in clips if isinstance(t.of, Clips) for pk in t.of.clips}
    begun = Review.objects.filter(published_at=None, student__in=students)
    found = begun.order_by("pk").values_list("submissions", "coach__name")
    return {by_clip[clip]: name or str(_("somebody")) for clip, name in found if clip in by_clip}


def _lines(
    shown: Sequence[tuple[str, Row]], drafts: dict[str, str], reader: User | None
) -> list[Line]:
    clips = [row.submission for _s, row in shown if row.kind == "drill" and row.submission]
    results = judged(clips) if clips else {}
    pictures = newest_videos({row.student.pk for _s, row in shown if row.submission is None})
    people = {row.student.pk for _s, row in shown}
    opened = open_to_others(people, reader) if reader else {}
    return [
        Line(
            row=row,
            section=section,
            draft=drafts.get(row.key, ""),
            open_to=opened.get(row.student.pk, ""),
            video=_video_of(row, pictures),
            judged=results.get(row.submission.pk) if row.submission else None,
        )
        for section, row in shown
    ]


def _video_of(row: Row, pictures: dict[int, int]) -> int | None:
    if row.submission is None:
        return pictures.get(row.student.pk)
    video = row.submission.video
    return video.pk if video.copy and video.erased_at is None else None


def newest_videos(students: Iterable[int]) -> dict[int, int]:
    """The newest clip that can be shown, by student; one query."""
    rows = Submission.objects.filter(student__in=students, video__erased_at=None)
    newest = rows.exclude(video__copy="").values("student").annotate(newest=Max("video"))
    return {row["student"]: row["newest"] for row in newest}


def counted(user: User, count: Callable[[], int]) -> int:
    """How many wait, for the menu: kept for a minute, renewed by the list itself."""
    return int(cache.get_or_set(_count_key(user), count, COUNT_KEPT_S) or 0)


def keep_count(user: User, total: int) -> None:
    cache.set(_count_key(user), total, COUNT_KEPT_S)


def _count_key(user: User) -> str:
    return f"desk-waiting-{user.pk}"


def answered_today(students: QuerySet[Student]) -> int:
    start = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    clips = Submission.objects.filter(student__in=students, answered_at__gte=start)
    return clips.values("student", "answered_at").distinct().count()


# --- the row beside the list --------------------------------------------------------


def pane_of(row: Row) -> dict[str, Any]:
    """What the opened row shows, whatever it is: the person, and what belongs to its kind."""
    student = row.student
    notes = list(student.body_notes.filter(over_at__isnull=True).order_by("pk"))
    pane: dict[str, Any] = {
        "row": row,
        "student": student,
        "template": f"dashboard/_pane_{PANES.get(row.kind, row.kind)}.html",
        "notes": notes,
    }
    if row.kind == "clip":
        pane["clips"] = row.clips
        pane["stands_out"] = stand_out(student, row.clips, notes=notes)[:MOST_STANDING_OUT]
    if row.kind == "pain":
        reports = student.pain_reports.select_related("assignment__drill_version")
        pane["pain"] = report_sheet(reports.get(pk=row.about))
    if row.kind in {"text", "quiet", "answer"}:
        pane["said"] = _last_words(student)
    return pane


def _last_words(student: Student) -> list[Entry]:
    rows = Entry.objects.filter(thread__student=student, kind=Entry.Kind.MESSAGE)
    return list(rows.select_related("author").order_by("-created_at", "-pk")[:8])[::-1]
