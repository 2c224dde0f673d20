"""Structured logs: one line of JSON for each thing that happened, without anybody's data.

Every line carries the ids of what it belongs to (request, run, task), so that one trouble can be
followed through web and workers. Addresses, links that let somebody in and values of the database's
own complaints are taken out of messages and tracebacks before they are written.
"""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

_about: ContextVar[dict[str, Any] | None] = ContextVar("about", default=None)
# What a library hands a log line beside its message.
_OWN = set(vars(logging.LogRecord("", 0, "", 0, "", (), None))) | {"message", "asctime"}
_TAKEN_OUT = (
    (re.compile(r"[^\s\"'<>(),;:=/|]+@[^\s\"'<>(),;:=/|]+"), "<address>"),
    # PostgreSQL: Key (email)=(…) already exists; Failing row contains (…).
    (re.compile(r"(=\(|contains \().*?\)(?=[\s.]|$)", re.MULTILINE), r"\1…)"),
    (re.compile(r"\?[\w.%-]+=[^\s\"']*"), "?…"),  # a query string
    (re.compile(r"/(?=[\w-]*\d|[\w-]*[A-Z])[\w=:-]{20,}"), "/…"),  # a key inside a path
    (re.compile(r"\b\d{1,3}(?:\.\d{1,3}){3}\b"), "<network>"),
)


def about() -> dict[str, Any]:
    """The ids of what this thread is at."""
    return dict(_about.get() or {})


@contextmanager
def at_work_on(**ids: Any) -> Iterator[None]:
    """Every line written inside carries `ids`, and those of whoever stands around it."""
    token = _about.set(about() | ids)
    try:
        yield
    finally:
        _about.reset(token)


def without_data(text: str) -> str:
    """The text without addresses, keys and values; sentences of our own stay as they are."""
    for pattern, instead in _TAKEN_OUT:
        text = pattern.sub(instead, text)
    return text


class Ids(logging.Filter):
    """Notes on the record where it was written, before another thread formats it."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.about = about()
        return True


class Json(logging.Formatter):
    """One object a line: at, level, logger, message, ids, what `extra` told, the traceback."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": without_data(record.getMessage()),
        }
        told |= getattr(record, "about", {})
        told |= {
            name: value
            for name, value in vars(record).items()
            if name not in _OWN and isinstance(value, str | int | float | bool | None)
        }
        if record.exc_info:
            told["error"] = without_data(self.formatException(record.exc_info))
        return json.dumps(told, ensure_ascii=False, default=str)


class Line(logging.Formatter):
    """For a terminal: time, level, ids, message; without data all the same."""

    def format(self, record: logging.LogRecord) -> str:
        ids = " ".join(f"{name}={value}" for name, value in getattr(record, "about", {}).items())
        head = f"{self.formatTime(record)} {record.levelname} {record.name}{ids and f' [{ids}]'}"
        text = f"{head}: {record.getMessage()}"
        if record.exc_info:
            text += "\n" + self.formatException(record.exc_info)
        return without_data(text)
