"""Time zones by their IANA names: whose day it is, and whose clock a page shows."""

from __future__ import annotations

from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _


@cache
def known_zones() -> frozenset[str]:
    """Every name there is; looking them up walks through a folder of files, so it is done once."""
    return frozenset(available_timezones())


@cache
def zone_names() -> tuple[str, ...]:
    """The names a person chooses from: places, and UTC."""
    return tuple(sorted(name for name in known_zones() if "/" in name or name == "UTC"))


def is_zone(name: str) -> bool:
    return name in known_zones()


def validate_zone(name: str) -> None:
    if not is_zone(name):
        raise ValidationError(_("Choose a time zone from the list."), code="zone")


def zone(name: str, otherwise: str = "UTC") -> ZoneInfo:
    """The zone of that name; of `otherwise` when there is none."""
    return ZoneInfo(name if is_zone(name) else otherwise)


def zone_label(name: str) -> str:
    """`Europe/Isle_of_Man` as people read it."""
    return name.replace("_", " ").replace("/", ": ", 1)


def moment_words(when: datetime, form: str = "D j M, H:i") -> str:
    """A moment on the reader's clock, with the clock's name: `Sat 28 Nov, 16:30 NZDT`."""
    moment = timezone.localtime(when)
    name = moment.tzname() or ""
    if not name[:1].isalpha():  # the zone has no letters of its own: +0545
        name = f"UTC{name}"
    return f"{date_format(moment, form)} {name}"
