"""What a coach sent a moment ago and can still take back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.lessons.services import UNDO_FOR
from coaching.people.models import User
from coaching.practice.models import Verdict
from coaching.review.models import Review


@dataclass(frozen=True)
class Deed:
    """Something this coach sent a moment ago, and where its undo posts."""

    sentence: str
    url: str
    seconds: int  # how long it can still be undone


def _keys(rows: QuerySet[Any]) -> QuerySet[Any]:
    return rows.order_by().values("pk")  # parts of a UNION have no order


def undoable(user: User) -> list[Deed]:
    """What `user` sent or judged in the last ten seconds, newest first."""
    since = timezone.now() - UNDO_FOR
    sent = Review.objects.filter(coach=user, published_at__gt=since)
    given = Verdict.objects.filter(given_by=user, created_at__gt=since)
    if not _keys(sent).union(_keys(given), all=True).exists():
        return []  # nearly always: one look at two indexes
    deeds = [
        (row.published_at, _("Sent to %(name)s."), row.student, "review:take_back", row.pk)
        for row in sent.select_related("student")
        if row.published_at
    ] + [
        (
            row.created_at,
            _("Judged for %(name)s."),
            row.submission.student,
            "practice:take_back",
            row.pk,
        )
        for row in given.select_related("submission__student")
    ]
    return [
        Deed(
            sentence=sentence % {"name": student.name},
            url=reverse(url, args=[pk]),
            seconds=max(1, int((at - since).total_seconds())),
        )
        for at, sentence, student, url, pk in sorted(deeds, key=lambda d: d[0], reverse=True)
    ]
