"""What students have left of the answers they bought."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from django.utils import timezone

from coaching.lessons.models import Purchase
from coaching.lessons.packages import Balance, Bought, balance
from coaching.people.models import Student
from coaching.people.queries import studio_zone
from coaching.practice.models import Verdict
from coaching.review.models import Review


def balances(students: Iterable[Student]) -> dict[int, Balance]:
    """By student, of those who ever bought a package; four queries at most.

    One answer that was sent counts as one; a verdict does where the studio says so. Pain and
    words are never counted.
    """
    people = {student.pk: student for student in students}
    bought: dict[int, list[Bought]] = defaultdict(list)
    for row in Purchase.objects.filter(student__in=people):
        bought[row.student_id].append(Bought(row.answers, row.bought_on, row.ends_on))
    used: dict[int, list[date]] = defaultdict(list)

    def count(pk: int, at: object) -> None:
        zone = studio_zone(people[pk].studio)
        used[pk].append(timezone.localdate(at, zone))  # type: ignore[arg-type]

    sent = Review.objects.filter(student__in=bought, published_at__isnull=False)
    for pk, at in sent.values_list("student_id", "published_at"):
        count(pk, at)
    counting = [pk for pk in bought if people[pk].studio.verdicts_count]
    if counting:
        given = Verdict.objects.filter(submission__student__in=counting)
        for pk, at in given.values_list("submission__student_id", "created_at"):
            count(pk, at)
    return {
        pk: balance(rows, used[pk], timezone.localdate(timezone=studio_zone(people[pk].studio)))
        for pk, rows in bought.items()
    }
