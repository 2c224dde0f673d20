"""Ladders and drills as typed into forms, turned into the shape of a drill file.

Checks of meaning stay in `drills` and the services; here only numbers are read.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from coaching import numbers
from coaching.lessons.wording import naming
from coaching.people.errors import LessonError
from coaching.people.models import Region
from coaching.people.texts import in_one_line
from coaching.practice import ladder_form
from coaching.practice.models import Criterion

MOST_CRITERIA = ladder_form.MOST_CRITERIA


def number(text: str, *, what: str) -> float:
    """A number as people type it, or a sentence that names what it is for."""
    try:
        return numbers.real(text)
    except ValueError:
        raise LessonError(
            _("Write a number for %(what)s.") % {"what": what}, code="not_a_number"
        ) from None


def whole(text: str, *, what: str) -> int:
    value = number(text, what=what)
    if value != int(value):
        raise LessonError(
            _("Write a whole number for %(what)s.") % {"what": what}, code="not_whole"
        )
    return int(value)


def day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        found = parse_date(text.strip())
    except ValueError:
        found = None
    if found is None:
        raise LessonError(_("Write dates as year-month-day."), code="not_a_date")
    return found


def ladder_from(post: Mapping[str, str], *, base: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The ladder as typed into its editor, else the drill's with the coach's own numbers.

    A step that was left out is gone.
    """
    typed = ladder_form.places(post)
    steps = []
    for place in typed or range(len(base)):
        key = f"step-{place}"
        if post.get(f"{key}-skip"):
            continue
        step = dict(base[place]) if place < len(base) else dict(ladder_form.FIRST_STEP)
        for name in ("kind", "text", "view", "film_kind", "effort", "ball", "bar_across", "club"):
            if f"{key}-{name}" in post:
                step[name] = in_one_line(post[f"{key}-{name}"])
        if step.get("film_kind") != "bar":
            step.pop("bar_across", None)
        for name, what in (
            ("need", _("how many must count")),
            ("repetitions", _("how many are filmed")),
            ("days", _("on how many days")),
        ):
            if post.get(f"{key}-{name}"):
                step[name] = whole(post[f"{key}-{name}"], what=what)
        step.pop("within_days", None)
        if post.get(f"{key}-within_days", "").strip():
            step["within_days"] = whole(post[f"{key}-within_days"], what=_("in how many days"))
        criteria = [
            criterion
            for number_ in range(MOST_CRITERIA)
            if (criterion := criterion_from(post, f"{key}-{number_}")) is not None
        ]
        step["criteria"] = criteria or ([] if typed else step["criteria"])
        steps.append(ladder_form.with_a_bar(step) if post.get(f"{key}-bar") else step)
    return steps


def criterion_from(post: Mapping[str, str], key: str) -> dict[str, Any] | None:
    """One criterion, None where the row was left empty."""
    comparison = post.get(f"{key}-comparison", "")
    if not comparison:
        return None
    if comparison in Criterion.BY_EYE:
        return {"comparison": comparison, "question": in_one_line(post.get(f"{key}-question", ""))}
    measure, _at, event = post.get(f"{key}-figure", "").partition("@")
    row: dict[str, Any] = {"comparison": comparison, "measure": measure, "event": event}
    for name in ladder_form.LIMITS.get(comparison, ()):
        text = post.get(f"{key}-{name}", "")
        if name != "aim" or text.strip():
            row[name] = number(text, what=naming.label_of(measure, event))
    return row


def drill_from(
    post: Mapping[str, str], *, slug: str, ladder: Any, loads: list[str]
) -> dict[str, Any]:
    """A drill as typed into its page; steps are one a line."""
    steps = [line.strip() for line in post.get("instructions", "").splitlines() if line.strip()]
    return {
        "slug": slug,
        "cause": post.get("cause", "").strip(),
        "title": post.get("title", "").strip(),
        "purpose": post.get("purpose", "").strip(),
        "feel": in_one_line(post.get("feel", ""))[:200],
        "set_up": post.get("set_up", "").strip(),
        "instructions": [{"text": step} for step in steps],
        "cautions": post.get("cautions", "").strip(),
        "not_for": post.get("not_for", "").strip(),
        "loads": [region for region in loads if region in Region.values],
        "source": in_one_line(post.get("source", "")),
        "ladder": ladder,
    }


# The regions a drill can load; "somewhere else" is only said of pain.
LOADS = [choice for choice in Region.choices if choice[0] != Region.OTHER]
