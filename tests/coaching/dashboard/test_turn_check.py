"""The held club against the body's turn: page, command, API, and whose films count."""

from __future__ import annotations

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from analysis.models import Measurement
from coaching.people.models import Student, User
from coaching.review import turncheck
from tests import factories
from tests.coaching.review.bars import hold_a_bar

pytestmark = pytest.mark.django_db
PELVIS = ("pelvis_turn_deg", "down_the_line")


@pytest.fixture
def other(coach: User) -> Student:
    return factories.make_student(coach=coach, name="Kit Lowe")


def checked(coach: User) -> list[turncheck.Check]:
    return turncheck.checks(Student.objects.filter(coach=coach))


def test_difference_is_figure_minus_bar_by_line(student: Student, coach: User) -> None:
    """Hand-worked: 44 − 40 and 47 − 41 are 4 and 6; s² = 2 is below the figure's own 3²,
    so u² = 9/2 + 2²."""
    hold_a_bar(student, figure=[(44, 3), (47, 3)], bar=[(40, 2), (41, 2)])
    hold_a_bar(student, across="chest", figure=[(80, 3)], bar=[(83, 2)])
    hips, chest = checked(coach)
    assert (hips.view, hips.across, chest.across) == ("down_the_line", "hips", "chest")
    (person,) = hips.people
    assert person.differences == (4.0, 6.0)
    assert person.bias.mean == pytest.approx(5.0)
    assert person.bias.u == pytest.approx(8.5**0.5)
    assert chest.people[0].differences == (-3.0,)
    assert hips.agreement is None


def test_views_are_kept_apart(student: Student, coach: User) -> None:
    hold_a_bar(student, figure=[(44, 3)], bar=[(40, 2)])
    hold_a_bar(student, view="face_on", figure=[(44, 3)], bar=[(46, 2)])
    assert [(c.view, c.people[0].bias.mean) for c in checked(coach)] == [
        ("down_the_line", 4.0),
        ("face_on", -2.0),
    ]


def test_limits_over_students(student: Student, other: Student, coach: User) -> None:
    """Means 3 and 7, two repetitions each, differing by 2: MSB 16, MSW 2, SD² (16−2)/2 + 2."""
    hold_a_bar(student, figure=[(42, 3), (44, 3)], bar=[(40, 2), (40, 2)])
    hold_a_bar(other, figure=[(46, 3), (48, 3)], bar=[(40, 2), (40, 2)])
    (check,) = checked(coach)
    assert check.agreement is not None
    assert check.agreement.mean == pytest.approx(5.0)
    assert check.agreement.sd == pytest.approx(3.0)


def test_what_must_not_count(student: Student, coach: User) -> None:
    """Erased, replaced, moved by hand, measured by an earlier pipeline, no bar film."""
    kept = hold_a_bar(student, figure=[(44, 3)], bar=[(40, 2)])
    erased = hold_a_bar(student, figure=[(60, 3)], bar=[(40, 2)])
    type(erased.video).objects.filter(pk=erased.video_id).update(erased_at=kept.created_at)
    replaced = hold_a_bar(student, figure=[(60, 3)], bar=[(40, 2)])
    type(replaced).objects.filter(pk=replaced.pk).update(replaced_by=kept)
    moved = hold_a_bar(student, figure=[(60, 3)], bar=[(40, 2)])
    Measurement.objects.filter(run__video=moved.video, measure=PELVIS[0]).update(source="corrected")
    hold_a_bar(student, figure=[(60, 3)], bar=[(40, 2)], version="0")
    swing = factories.make_submission(student=student)
    factories.make_measured(swing, {("pelvis_turn_deg", "top"): (60.0, 3.0)})
    (check,) = checked(coach)
    assert check.people[0].differences == (4.0,)
    assert check.untold == 0


def test_what_could_not_be_told_is_counted(student: Student, coach: User) -> None:
    hold_a_bar(student, figure=["unfamiliar", (44, 3)], bar=[(40, 2), (40, 2)])
    hold_a_bar(student, figure=[(44, 3)], bar=["bar_end_hidden"])
    (check,) = checked(coach)
    assert check.untold == 1
    assert check.people[0].differences == (4.0,)


def test_only_the_newest_figures_of_a_clip(student: Student, coach: User) -> None:
    clip = hold_a_bar(student, figure=[(60, 3)], bar=[(40, 2)])
    again = factories.make_run(video=clip.video, options_key="again")
    for measure, reading in ((PELVIS[0], (43.0, 3.0)), ("bar_turn_deg", (40.0, 2.0))):
        factories.make_measurement(run=again, measure=measure, reading=reading)
    assert checked(coach)[0].people[0].differences == (3.0,)


def test_queries_do_not_grow_with_students(
    student: Student, coach: User, django_assert_num_queries: Any
) -> None:
    for _n in range(4):
        more = factories.make_student(coach=coach)
        hold_a_bar(more, figure=[(44, 3), (45, 3)], bar=[(40, 2), (40, 2)])
    with django_assert_num_queries(2):
        assert len(checked(coach)[0].people) == 4


# The owner's page.


def page_of(coach: User) -> str:
    return reverse("turn_check", args=[coach.memberships.get().studio_id])


def test_the_owner_sees_the_distribution(
    student: Student, other: Student, coach: User, client_for: Any
) -> None:
    hold_a_bar(student, figure=[(42, 3), (44, 3)], bar=[(40, 2), (40, 2)])
    hold_a_bar(other, figure=[(46, 3), "unfamiliar"], bar=[(40, 2), (40, 2)])
    page = client_for(coach).get(page_of(coach)).text
    assert "Turn of the hips, down the line" in page
    assert "Over 2 students and 3 repetitions" in page
    assert student.name in page and other.name in page
    assert "In one repetition only the club was read" in page
    assert page.count('class="dot"') == 3
    assert reverse("turn_check", args=[student.studio_id]) in (
        client_for(coach).get(reverse("overview")).text
    )


def test_nothing_measured_says_what_to_ask_for(coach: User, client_for: Any) -> None:
    page = client_for(coach).get(page_of(coach)).text
    assert "No film with a held club is measured yet." in page


def test_one_student_makes_no_distribution(student: Student, coach: User, client_for: Any) -> None:
    hold_a_bar(student, figure=[(42, 3)], bar=[(40, 2)])
    page = client_for(coach).get(page_of(coach)).text
    assert "One student so far." in page
    assert 'class="band"' not in page


def test_other_studios_are_never_counted(
    student: Student, coach: User, stranger: User, client_for: Any
) -> None:
    hold_a_bar(student, figure=[(42, 3)], bar=[(40, 2)])
    theirs = factories.make_student(coach=stranger, name="Somebody Else")
    hold_a_bar(theirs, figure=[(70, 3)], bar=[(40, 2)])
    page = client_for(coach).get(page_of(coach)).text
    assert student.name in page and "Somebody Else" not in page


def test_only_the_owner(student: Student, coach: User, stranger: User, client_for: Any) -> None:
    colleague = factories.make_coach(studio=student.studio, role="coach")
    page = page_of(coach)
    for user in (colleague, stranger, student.user):
        assert client_for(user).get(page).status_code == 404
        assert page not in client_for(user).get(reverse("overview")).text
    assert "/login/" in Client().get(page)["Location"]


def test_over_the_api(student: Student, other: Student, coach: User, stranger: User) -> None:
    hold_a_bar(student, figure=[(42, 3), (44, 3)], bar=[(40, 2), (40, 2)])
    hold_a_bar(other, figure=[(46, 3), (48, 3)], bar=[(40, 2), (40, 2)])
    client = APIClient()
    url = f"/api/studios/{student.studio_id}/turn_check/"
    for user in (stranger, factories.make_coach(studio=student.studio), student.user):
        client.force_authenticate(user)
        assert client.get(url).status_code == 404
    client.force_authenticate(coach)
    (row,) = client.get(url).json()
    assert (row["measure"], row["view"], row["untold"]) == (*PELVIS, 0)
    assert row["agreement"]["mean"] == pytest.approx(5.0)
    assert {s["student"]: s["value"] for s in row["students"]} == {student.pk: 3.0, other.pk: 7.0}


# The command.


def told(*arguments: str) -> str:
    out = StringIO()
    call_command("turn_check", *arguments, stdout=out)
    return out.getvalue()


def test_command_prints_each_view_and_line(student: Student, other: Student) -> None:
    hold_a_bar(student, figure=[(42, 3), (44, 3)], bar=[(40, 2), (40, 2)])
    hold_a_bar(other, figure=[(46, 3), (48, 3)], bar=[(40, 2), (40, 2)])
    hold_a_bar(other, view="face_on", across="chest", figure=[(80, 3)], bar=[(83, 2)])
    text = told()
    assert "pelvis_turn_deg - bar_turn_deg, down the line, club across the hips" in text
    assert "students 2, repetitions 4" in text
    # 5 ± 1.96 · 3
    assert "mean +5.0 (standard error 2.1), SD 3.0, limits of agreement -0.9 to +10.9" in text
    assert "shoulder_turn_deg - bar_turn_deg, face on, club across the chest" in text
    assert "mean -3.0 (standard error 3.6); SD and limits of agreement need a second" in text
    assert student.name not in text
    assert f"{student.name}: +3.0" in told("--students")


def test_only_the_club_was_read(student: Student, coach: User, client_for: Any) -> None:
    hold_a_bar(student, figure=["unfamiliar", "unfamiliar"], bar=[(40, 2), (41, 2)])
    page = client_for(coach).get(page_of(coach)).text
    assert "In 2 repetitions only the club was read" in page
    assert "<table" not in page and "No film with a held club" not in page
    assert "students 0, repetitions 0\n  repetitions with the club alone: 2\n" in told()


def test_command_without_a_film_says_so(student: Student) -> None:
    with pytest.raises(CommandError, match="No film with a held club is measured yet"):
        told()
    with pytest.raises(CommandError, match="There is no studio nowhere"):
        told("--studio", "nowhere")


def test_command_leaves_the_demonstration_out(student: Student) -> None:
    student.studio.is_demo = True
    student.studio.save()
    hold_a_bar(student, figure=[(42, 3)], bar=[(40, 2)])
    with pytest.raises(CommandError):
        told()
    assert "students 1" in told("--studio", student.studio.slug)
