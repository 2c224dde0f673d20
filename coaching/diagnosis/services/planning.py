"""What is worked on first, and what the coach notes for himself."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from coaching.diagnosis import queries
from coaching.diagnosis.models import Finding, Plan
from coaching.diagnosis.services.findings import refuse_changed, refuse_sent
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.review.models import Review


@transaction.atomic
def move_in_plan(*, review: Review, by: User, finding: Finding, earlier: bool) -> Plan:
    """Move a finding one place in the plan. The coach's order; it targets nothing by itself."""
    access.require_staff(by, review.student)
    refuse_sent(review)
    order = [line.finding.pk for line in queries.diagnosis_of(review.student, review).lines]
    if finding.pk not in order:
        raise LessonError(_("This finding is not part of the plan."), code="not_in_plan")
    place = order.index(finding.pk)
    other = place - 1 if earlier else place + 1
    if 0 <= other < len(order):
        order[place], order[other] = order[other], order[place]
    return _save_plan(review, order=order)


@transaction.atomic
def forget_order(*, review: Review, by: User) -> Plan:
    """Back to the computed order."""
    access.require_staff(by, review.student)
    refuse_sent(review)
    return _save_plan(review, order=[])


@transaction.atomic
def keep_note(*, review: Review, by: User, text: str, was: str | None = None) -> Plan:
    """What to keep in mind on the course: never a drill thought.

    `was` is what the page showed: when somebody else has changed it since, theirs stays (409).
    """
    access.require_staff(by, review.student)
    refuse_sent(review)
    standing = Plan.objects.filter(review=review).values_list("keep_note", flat=True).first() or ""
    refuse_changed(standing, text.strip(), was)
    return _save_plan(review, keep_note=text.strip())


def _save_plan(review: Review, **fields: Any) -> Plan:
    return Plan.objects.update_or_create(review=review, defaults=fields)[0]
