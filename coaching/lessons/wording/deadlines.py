"""When an answer comes, as people say it."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

NIGHT_ENDS, NOON, EVENING = 5, 12, 17  # hours; before five it is still the evening before


def promise_words(when: datetime, now: datetime | None = None, *, by_name: bool = False) -> str:
    """When an answer comes, as people say it: `Monday evening`, `tomorrow afternoon`.

    Both are aware moments; the reader's time zone is the active one. A promise in the night
    is one for the evening before it. Never earlier than what was promised, but for the night.
    `by_name` says the day's name where it would be today or tomorrow: a letter is read later.
    """
    local, today = timezone.localtime(when), timezone.localtime(now or timezone.now()).date()
    day, hour = local.date(), local.hour
    if hour < NIGHT_ENDS:
        day, hour = day - timedelta(days=1), 23
    part = 0 if hour < NOON else 1 if hour < EVENING else 2
    away = (day - today).days
    if away == 0 and not by_name:
        return (_("noon today"), _("this afternoon"), _("this evening"))[part]
    if away == 1 and not by_name:
        return (_("tomorrow noon"), _("tomorrow afternoon"), _("tomorrow evening"))[part]
    if not 0 <= away < 7:
        return date_format(day, "l, j F")
    name = date_format(day, "l")
    return (_("%(day)s noon"), _("%(day)s afternoon"), _("%(day)s evening"))[part] % {"day": name}


def time_left_words(seconds: float) -> str:
    """How long a promise has left: `2 days left`, `5 hours left`, `3 hours late`."""
    late, span = seconds < 0, abs(seconds)
    if span >= 36 * 3600:
        count = round(span / 86400)
        text = ngettext("%d day", "%d days", count) % count
    elif span >= 3600:
        count = round(span / 3600)
        text = ngettext("%d hour", "%d hours", count) % count
    else:
        count = max(1, round(span / 60))
        text = ngettext("%d minute", "%d minutes", count) % count
    return (_("%s late") if late else _("%s left")) % text
