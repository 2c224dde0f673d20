"""The waiting list as a page: sections by promise, filters, one row opened. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Max, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from coaching.dashboard import rows as waiting_rows
from coaching.dashboard.rows import Row
from coaching.diagnosis.suggestions import Suggested, stand_out
from coaching.intake.models import Submission
from coaching.kept import cache
from coaching.lessons.models import Entry
from coaching.people.models import Student, User
from coaching.practice.criteria import Suggested as Says
from coaching.practice.queries.judged import Judged, judged
from coaching.practice.queries.pain import report_sheet
from coaching.review.models import Review
from coaching.review.presence import open_to_others

PAGE = 60
COUNT_KEPT_S = 60
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
    rows: list[Row] = field(default_factory=list)
    put_off: list[Row] = field(default_factory=list)  # whatever the filter

    @property
    def before(self) -> int:
        return self.number - 1

    @property
    def after(self) -> int:
        return self.number + 1

    def opened(self, key: str) -> Row | None:
        """The row of that key, else the first of the page."""
        first = self.lines[0].row if self.lines else None
        return next((row for row in self.rows if row.key == key), first)


def section_of(row: Row, now: datetime) -> str:
    if row.kind == "pain":
        return "pain"
    if row.promised_at is not None:
        if row.promised_at < now:
            return "past"
        today = timezone.localdate(now)
        return "today" if timezone.localdate(row.promised_at) <= today else "later"
    return {"look": "look", "check": "look", "quiet": "quiet"}.get(row.kind, "asked")


def page_of(
    students: QuerySet[Student],
    *,
    text: str = "",
    kind: str = "",
    number: int = 1,
    reader: User | None = None,
) -> Page:
    """One page of the list; what only its lines need is fetched for them alone."""
    now = timezone.now()
    rows, put_off = waiting_rows.waiting_and_put_off(students, text=text)
    counts = Counter(row.kind for row in rows)
    kinds = [(name, label, sum(counts[k] for k in shown)) for name, (label, shown) in KINDS.items()]
    drafts = _drafts(rows)
    if drafts:
        kinds.append((DRAFTS, _("Drafts"), len(drafts)))
    wanted = [row for row in rows if kind not in KINDS or row.kind in KINDS[kind][1]]
    if kind == DRAFTS:
        wanted = [row for row in rows if row.key in drafts]
    order = list(SECTIONS)
    placed = sorted(
        ((section_of(row, now), row) for row in wanted),
        key=lambda pair: (order.index(pair[0]), pair[1].order[1]),
    )
    pages = max(1, -(-len(placed) // PAGE))
    number = min(max(number, 1), pages)
    shown = placed[(number - 1) * PAGE : number * PAGE]
    return Page(
        lines=_lines(shown, drafts, reader),
        total=len(rows),
        found=len(wanted),
        sections=dict(Counter(section for section, _row in placed)),
        kinds=kinds,
        number=number,
        pages=pages,
        rows=[row for _section, row in placed],
        put_off=put_off,
    )


def _drafts(rows: Sequence[Row]) -> dict[str, str]:
    """By the row's key: who has begun an answer to one of its clips. One query."""
    by_clip = {clip.pk: row.key for row in rows if row.kind == "clip" for clip in row.clips}
    begun = Review.objects.filter(published_at=None, submissions__in=by_clip)
    found = begun.values_list("submissions", "coach__name")
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
    pane: dict[str, Any] = {
        "row": row,
        "student": student,
        "template": f"dashboard/_pane_{PANES.get(row.kind, row.kind)}.html",
        "notes": student.body_notes.filter(over_at__isnull=True).order_by("pk"),
    }
    if row.kind == "clip":
        pane["clips"] = row.clips
        pane["stands_out"] = stands_out(student, row.clips)
    if row.kind == "pain":
        reports = student.pain_reports.select_related("assignment__drill_version")
        pane["pain"] = report_sheet(reports.get(pk=row.about))
    if row.kind in {"text", "quiet", "answer"}:
        pane["said"] = _last_words(student)
    return pane


MOST_STANDING_OUT = 5


def stands_out(student: Student, clips: Sequence[Submission]) -> list[Suggested]:
    """What the figures of these clips clearly suggest, causes first."""
    return stand_out(student, clips)[:MOST_STANDING_OUT]


def _last_words(student: Student) -> list[Entry]:
    rows = Entry.objects.filter(thread__student=student, kind=Entry.Kind.MESSAGE)
    return list(rows.select_related("author").order_by("-created_at", "-pk")[:8])[::-1]
