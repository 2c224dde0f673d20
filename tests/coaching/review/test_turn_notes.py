"""What the coach reads beside a turn when a club was held across; nobody else does."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from coaching.intake.models import Submission
from coaching.lessons.wording import held_club
from coaching.people.models import Student, User
from tests import factories
from tests.coaching.review.bars import hold_a_bar

pytestmark = pytest.mark.django_db


def read_by(user: User, clip: Submission, client_for: Any) -> str:
    return client_for(user).get(reverse("review:figures", args=[clip.video_id])).text


def test_a_bar_film_tells_both_and_their_difference(
    student: Student, coach: User, client_for: Any
) -> None:
    clip = hold_a_bar(student, figure=[(49, 3), (50, 3)], bar=[(40, 2), (41, 2)])
    text = read_by(coach, clip, client_for)
    assert "turn of the held club" in text and "pelvis turn" in text
    # 49 − 40 = 9 and √(3² + 2²) = 3.6; the mean 9, u² = 9/2 + 4
    assert text.count("9° ± 7 more than the held club.") == 2
    note = "Against a held club the turn of the hips reads about 9° ± 6 high on Sam Reed, from"
    assert f"{note} 2 repetitions." in text


def test_a_swing_of_the_same_view_carries_the_known_bias(
    student: Student, coach: User, client_for: Any
) -> None:
    hold_a_bar(student, figure=[(30, 3)], bar=[(40, 2)])
    swings = {}
    for view in ("down_the_line", "face_on"):
        angle = factories.make_angle(
            request=factories.make_request(student=student, angles=0), view=view
        )
        swings[view] = factories.make_submission(angle=angle)
        factories.make_measured(
            swings[view],
            {("pelvis_turn_deg", "top"): (38, 4), ("pelvis_turn_deg", "impact"): (-30, 4)},
        )
    text = read_by(coach, swings["down_the_line"], client_for)
    assert text.count("reads about 10° ± 7 low on Sam Reed, from one repetition.") == 1
    assert "38° ± 8" in text, "the value itself stays"
    assert "than the held club" not in text
    assert "Against a held club" not in read_by(coach, swings["face_on"], client_for)
    assert "Against a held club" not in read_by(student.user, swings["down_the_line"], client_for)


def test_another_pipelines_bias_is_not_told(student: Student, coach: User, client_for: Any) -> None:
    hold_a_bar(student, figure=[(30, 3)], bar=[(40, 2)], version="0")
    swing = factories.make_submission(student=student)
    factories.make_measured(swing, {("pelvis_turn_deg", "top"): (38, 4)})
    assert "Against a held club" not in read_by(coach, swing, client_for)


def test_an_absent_figure_tells_no_difference(
    student: Student, coach: User, client_for: Any
) -> None:
    clip = hold_a_bar(student, figure=["unfamiliar"], bar=[(40, 2)])
    text = read_by(coach, clip, client_for)
    assert "than the held club" not in text and "Against a held club" not in text


def test_too_little_to_tell() -> None:
    told = held_club.turn_bias_words("chest", -1.0, 3.0, 3, name="Sam")
    assert told == (
        "Against a held club the turn of the shoulders reads 1° ± 6 low on Sam, from"
        " 3 repetitions: too little to tell."
    )
