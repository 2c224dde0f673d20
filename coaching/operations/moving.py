"""A whole studio as one file, and back: for another server, without loss.

What `exporting` and `importing` share.

The rows are found by walking the database's own relations from the studio, so a table added later
is part of it. In the new place every row gets a number of its own; columns that hold numbers inside
JSON are declared in `REFERENCES`, and one that is not declared stops the export.

Left behind: sessions, keys of programs and browsers that get notifications (they are signed with
the old server's secrets) and uploads that were not finished.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import ForeignKey, Model

from coaching.people.models import User

SCHEMA = 1
CHUNK = 500
ACCOUNT = User._meta.label_lower
# What hangs on an account and goes with it: proved addresses, second steps, the calendar.
OF_ACCOUNTS = ("account.emailaddress", "mfa.authenticator", "notify.feed")
LEFT_BEHIND = {
    "intake.upload",
    "notify.pushmessage",
    "notify.pushsubscription",
    "people.apitoken",
    "usersessions.usersession",
}
# Whose numbers stand in an entry's references and in the facts of the log, by their name there.
REFERENCES = {
    "assignment": "practice.assignment",
    "assignments": "practice.assignment",
    "body_notes": "people.bodynote",
    "consents": "people.consent",
    "filming_link": "intake.filminglink",
    "finding": "diagnosis.finding",
    "guardian": "people.guardianship",
    "link": "review.filmlink",
    "guardians": ACCOUNT,
    "pain_report": "practice.painreport",
    "practice_series": "practice.practiceseries",
    "replaces": "intake.submission",
    "report": "practice.painreport",
    "request": "intake.request",
    "review": "review.review",
    "submission": "intake.submission",
    "submissions": "intake.submission",
    "to": ACCOUNT,
    "verdict": "practice.verdict",
    "video": "analysis.video",
    "whose": ACCOUNT,
}
# What a waiting thing is called by (`dashboard.rows.Row.key`): its kind, and the number of this.
THINGS = {
    "pain": "practice.painreport",
    "drill": "practice.attempt",
    "clip": "intake.submission",
    "look": "diagnosis.finding",
    "check": "practice.assignment",
    "answer": "diagnosis.finding",
    "text": "lessons.entry",
    "quiet": "people.student",
}
Row = dict[str, Any]
# The number that a row of this model has now, by its number then; None when it was not carried.
Renumber = Callable[[str, Any], Any]


def kinds() -> set[str]:
    """Every kind of row that a studio's file may hold: what hangs on a studio, by relations."""
    found: set[type[Model]] = {apps.get_model("people.studio")}
    fresh = list(found)
    while fresh:
        model = fresh.pop()
        for other in _near(model):
            known = other in found or other is User
            if not known and other._meta.label_lower not in LEFT_BEHIND:
                found.add(other)
                fresh.append(other)
    return {model._meta.label_lower for model in found} | {ACCOUNT, *OF_ACCOUNTS}


def _near(model: type[Model]) -> Iterator[type[Model]]:
    yield from (r.related_model for r in model._meta.related_objects if not r.many_to_many)
    for field in model._meta.concrete_fields:
        if field.one_to_one and field.related_model is not None:
            yield field.related_model


def migrations() -> dict[str, str]:
    """The newest migration of each app: where two places differ, rows would not fit."""
    return dict(sorted(MigrationRecorder(connection).applied_migrations()))


def renumbered(label: str, row: Row, number: Renumber) -> Row:
    """The row with every number of another row replaced, columns and JSON alike.

    Raises
    ------
    LookupError
        For a number under a name that `REFERENCES` does not declare.
    """
    row = dict(row)
    model = apps.get_model(label)
    for field in model._meta.concrete_fields:
        if isinstance(field, ForeignKey) and row[field.attname] is not None:
            row[field.attname] = number(field.related_model._meta.label_lower, row[field.attname])
    for many in model._meta.many_to_many:
        if many.name in row:
            other = many.related_model._meta.label_lower
            row[many.name] = _some(number, other, row[many.name])
    if label == "lessons.entry":
        row["refs"] = _told(row["refs"], number)
    elif label == "people.auditentry":
        row["facts"] = _told(row["facts"], number)
    elif label == "diagnosis.plan":
        row["order"] = _some(number, "diagnosis.finding", row["order"])
    elif label == "lessons.putoff":
        kind, _, pk = row["thing"].rpartition("-")
        row["thing"] = f"{kind}-{number(THINGS[kind], int(pk))}"
    elif label == "review.walkthrough":
        row["events"] = [
            event | {"value": number("analysis.video", event["value"])}
            if event.get("do") in ("clip", "beside") and event.get("value") is not None
            else event
            for event in row["events"]
        ]
    return row


def _some(number: Renumber, label: str, pks: Iterable[Any]) -> list[Any]:
    return [new for pk in pks if (new := number(label, pk)) is not None]


def _told(refs: Row, number: Renumber) -> Row:
    told: Row = {}
    for name, value in refs.items():
        if name in REFERENCES and isinstance(value, list):
            told[name] = _some(number, REFERENCES[name], value)
        elif name in REFERENCES and value is not None:
            told[name] = number(REFERENCES[name], value)
        elif _is_number(value) or (isinstance(value, list) and any(map(_is_number, value))):
            raise LookupError(f"Declare in REFERENCES whose number {name!r} holds.")
        else:
            told[name] = value
    return told


def _is_number(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
