"""Answers bought and used. Nothing is paid here: packages are sold by hand and counted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.lessons.models import Package, Purchase
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, Studio, User
from coaching.people.once import SENT_TWICE, in_turn
from coaching.people.queries import studio_zone

MOST_ANSWERS = 200
MOST_WEEKS = 260


@dataclass(frozen=True)
class Bought:
    """One purchase as the count sees it: `ends_on` is its last day, None when it never ends."""

    answers: int
    bought_on: date
    ends_on: date | None = None


@dataclass(frozen=True)
class Balance:
    """`left` of `bought` answers on a day; those that ran out unused are in neither."""

    bought: int
    left: int


def balance(purchases: Sequence[Bought], used_on: Iterable[date], today: date) -> Balance:
    """What is left of what was bought.

    Each use takes from the purchase that ends first of those that hold on its day; a use on a
    day without any was given away and takes nothing later.

    Parameters
    ----------
    purchases : sequence of Bought
    used_on : iterable of date
        A day for each answer that counts.
    today : date

    Returns
    -------
    Balance
        Of the purchases that hold today.
    """
    order = sorted(range(len(purchases)), key=lambda i: purchases[i].ends_on or date.max)
    left = [row.answers for row in purchases]
    for day in sorted(used_on):
        for i in order:
            if left[i] and _holds(purchases[i], day):
                left[i] -= 1
                break
    now = [i for i in order if _holds(purchases[i], today)]
    return Balance(sum(purchases[i].answers for i in now), sum(left[i] for i in now))


def _holds(row: Bought, day: date) -> bool:
    return row.bought_on <= day and (row.ends_on is None or day <= row.ends_on)


@transaction.atomic
def save_package(
    *,
    studio: Studio,
    by: User,
    title: str,
    answers: int,
    weeks: int | None,
    package: Package | None = None,
) -> Package:
    """A new package, or another wording of one; what was bought before stays as it was."""
    access.require_role(by, studio, access.TEACHING)
    if not title.strip():
        raise LessonError(_("Give the package a name."), code="no_title")
    if not 1 <= answers <= MOST_ANSWERS:
        raise LessonError(_("A package holds 1 to 200 answers."), code="wrong_answers")
    if weeks is not None and not 1 <= weeks <= MOST_WEEKS:
        raise LessonError(_("It lasts 1 to 260 weeks, or does not end."), code="wrong_weeks")
    in_turn(studio)
    said: dict[str, Any] = {"title": title.strip()[:60], "answers": answers, "weeks": weeks}
    if package is None:
        return Package.objects.get_or_create(studio=studio, retired_at=None, **said)[0]
    Package.objects.filter(pk=package.pk).update(**said)
    package.refresh_from_db()
    return package


def retire_package(*, package: Package, by: User) -> None:
    """It is no longer sold; what students bought stays."""
    access.require_role(by, package.studio, access.TEACHING)
    Package.objects.filter(pk=package.pk).update(retired_at=timezone.now())


@transaction.atomic
def note_purchase(*, student: Student, by: User, package: Package) -> Purchase:
    """Somebody bought the package, today in the studio's time."""
    access.require_teaching(by, student)
    if package.studio_id != student.studio_id or package.retired_at:
        raise LessonError(_("Choose one of the studio’s packages."), code="no_package")
    in_turn(student)
    today = timezone.localdate(timezone=studio_zone(student.studio))
    ends = today + timedelta(weeks=package.weeks) if package.weeks else None
    just_now = timezone.now() - SENT_TWICE
    said: dict[str, Any] = {"title": package.title, "answers": package.answers, "noted_by": by}
    if twin := student.purchases.filter(created_at__gt=just_now, **said).first():
        return twin
    return Purchase.objects.create(student=student, bought_on=today, ends_on=ends, **said)


def take_back_purchase(*, purchase: Purchase, by: User) -> None:
    """It was noted by mistake."""
    access.require_teaching(by, purchase.student)
    purchase.delete()
