"""Answers bought and used, counted by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.http import Http404
from django.test import Client
from django.urls import reverse

from coaching.dashboard.bought import balances
from coaching.lessons import packages
from coaching.lessons.models import Package, Purchase
from coaching.lessons.packages import Balance, Bought, balance
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.practice.models import Verdict
from tests import factories
from tests.coaching.practice import making

JAN, FEB, MAR = date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 1)


@pytest.mark.parametrize(
    ("purchases", "used", "expected"),
    [
        ([], [JAN], Balance(0, 0)),
        ([Bought(6, JAN)], [JAN, FEB], Balance(6, 4)),
        # Used before anything was bought: given away.
        ([Bought(6, FEB)], [JAN], Balance(6, 6)),
        # What ran out unused is in neither number.
        ([Bought(6, JAN, FEB)], [JAN], Balance(0, 0)),
        # The one that ends first is used first.
        ([Bought(2, JAN), Bought(1, JAN, MAR)], [FEB], Balance(3, 2)),
        ([Bought(2, JAN), Bought(1, JAN, FEB)], [JAN, FEB], Balance(2, 1)),
        # More answers than were bought take nothing from a later purchase.
        ([Bought(1, JAN), Bought(2, MAR)], [JAN, JAN, FEB], Balance(3, 2)),
    ],
)
def test_what_is_left(purchases: list[Bought], used: list[date], expected: Balance) -> None:
    assert balance(purchases, used, MAR) == expected


def test_an_answer_counts_and_a_verdict_only_where_the_studio_says_so(
    coach: User, student: Student
) -> None:
    studio = student.studio
    package = packages.save_package(studio=studio, by=coach, title="Six", answers=6, weeks=26)
    bought = packages.note_purchase(student=student, by=coach, package=package)
    assert bought.ends_on == bought.bought_on + timedelta(weeks=26)
    assert packages.note_purchase(student=student, by=coach, package=package) == bought  # twice
    sent = making.make_review(student=student)
    attempt = making.open_attempt(making.make_assignment(review=sent))
    film = making.send_film(attempt, (52, 4))
    Verdict.objects.create(attempt=attempt, submission=film, decision="nearly", given_by=coach)
    other = factories.make_student(coach=coach)
    assert balances([student, other]) == {student.pk: Balance(6, 5)}
    studio.verdicts_count = True
    studio.save()
    student = Student.objects.select_related("studio").get(pk=student.pk)
    assert balances([student]) == {student.pk: Balance(6, 4)}


def test_the_page_sells_changes_and_stops_selling(
    client: Client, coach: User, student: Student
) -> None:
    client.force_login(coach)
    address = reverse("packages", args=[student.studio_id])
    assert client.post(address, {"title": "Six", "answers": 0}).status_code == 400
    assert client.post(address, {"title": "Six", "answers": 6}).status_code == 302
    row = Package.objects.get()
    client.post(reverse("buy", args=[student.pk]), {"package": row.pk})
    page = " ".join(client.get(reverse("student", args=[student.pk])).content.decode().split())
    assert "6 of 6 answers left" in page
    client.post(reverse("package_retire", args=[student.studio_id, row.pk]))
    assert client.post(reverse("buy", args=[student.pk]), {"package": row.pk}).status_code == 400
    bought = Purchase.objects.get()  # stays what it was
    client.post(reverse("unbuy", args=[student.pk, bought.pk]))
    assert not Purchase.objects.exists()


def test_a_package_of_another_studio_is_not_sold_here(coach: User, student: Student) -> None:
    stranger = factories.make_coach(role="owner")
    row = Package.objects.create(
        studio=stranger.memberships.get().studio, title="Theirs", answers=1
    )
    with pytest.raises(LessonError):
        packages.note_purchase(student=student, by=coach, package=row)
    with pytest.raises(Http404):
        packages.retire_package(package=row, by=coach)
    assert Package.objects.get(pk=row.pk).retired_at is None
