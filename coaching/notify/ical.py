"""Calendars as RFC 5545 writes them. Pure: events in, bytes out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

LONGEST = 75  # octets of a content line, RFC 5545 §3.1


@dataclass(frozen=True)
class Event:
    """`when` is a day, or an aware moment; `changed_at` an aware moment."""

    uid: str
    when: date | datetime
    summary: str
    url: str
    changed_at: datetime


def calendar(events: Iterable[Event], *, name: str) -> bytes:
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Causeway//lessons//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"NAME:{escaped(name)}",  # RFC 7986 §5.1
    ]
    for event in events:
        lines += _event(event)
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def _event(event: Event) -> list[str]:
    if isinstance(event.when, datetime):
        when = [f"DTSTART:{_utc(event.when)}", "DURATION:PT0S"]
    else:
        end = event.when + timedelta(days=1)
        when = [f"DTSTART;VALUE=DATE:{event.when:%Y%m%d}", f"DTEND;VALUE=DATE:{end:%Y%m%d}"]
    return [
        "BEGIN:VEVENT",
        f"UID:{escaped(event.uid)}",
        f"DTSTAMP:{_utc(event.changed_at)}",
        *when,
        f"SUMMARY:{escaped(event.summary)}",
        f"URL:{event.url}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _utc(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    """TEXT of RFC 5545 §3.3.11."""
    for char in ("\\", ";", ","):
        text = text.replace(char, "\\" + char)
    return "\\n".join(text.splitlines())  # whatever a reader may take for the end of a line


def folded(line: str) -> bytes:
    """One content line: at most 75 octets, then CRLF and a space; never inside a letter."""
    parts: list[bytes] = []
    part = b""
    for char in line:
        octets = char.encode()
        if len(part) + len(octets) > (LONGEST if not parts else LONGEST - 1):
            parts.append(part)
            part = b""
        part += octets
    return b"\r\n ".join([*parts, part]) + b"\r\n"
