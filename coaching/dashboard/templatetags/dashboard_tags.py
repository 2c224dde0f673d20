"""What only the desk's pages say."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _

from coaching.dashboard import rows, waiting
from coaching.people import ties
from coaching.practice.criteria import Suggested

register = template.Library()


@register.simple_tag(takes_context=True)
def sift(context: Any, **changes: Any) -> str:
    """The address of this list with some filters changed; an empty one is taken away."""
    asked = context["request"].GET.copy()
    asked.pop("part", None)
    for name, value in changes.items():
        asked.pop(name, None)
        if value not in ("", None):
            asked[name] = value
    return f"?{asked.urlencode()}"


@register.simple_tag(takes_context=True)
def sift_to(context: Any, name: str) -> str:
    """The address of this list up to what `name` is to be: `?kind=clips&at=`, for many links."""
    address = sift(context, **{name: ""})
    return f"{address}{'' if address == '?' else '&'}{name}="


@register.simple_tag(takes_context=True)
def waiting_count(context: Any) -> int:
    """How many things wait for the signed-in coach, at most a minute old."""
    user = context["user"]
    students = ties.of(user).taught().filter(closed_at__isnull=True)
    return waiting.counted(user, lambda: len(rows.waiting_of(rows.things_of(students))))


@register.filter
def section_name(section: str) -> str:
    return str(waiting.SECTIONS[section])


@register.filter
def at_key(rows: Mapping[str, Any], key: str) -> Any:
    return rows.get(key, "")


@register.filter
def figures_say(line: waiting.Line) -> str:
    """What the figures of a drill's film say, in a few words."""
    return {
        Suggested.PASSES: _("figures say passed"),
        Suggested.DOES_NOT: _("figures say not yet"),
        Suggested.CANNOT_TELL: _("figures can’t say"),
    }.get(line.says, "")  # type: ignore[arg-type]


@register.filter
def ago(when: datetime) -> str:
    """`9 hours ago`, `2 days ago`: the larger unit alone."""
    return _("%(time)s ago") % {"time": timesince(when, timezone.now(), depth=1)}
