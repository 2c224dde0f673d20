"""Effort against the student's own full swings, and the spread of a clip, for the coach."""

from __future__ import annotations

import pytest

from coaching.practice.queries import judged, progress
from tests import factories
from tests.coaching.practice.making import TURN, TURN_RUNG, make_assignment, open_attempt, send_film

pytestmark = pytest.mark.django_db
SPEED = ("hand_speed_peak_m_s", "impact")
TENTH = TURN_RUNG | {"kind": "foam", "film_kind": "swing", "effort": "tenth"}


def test_effort_is_told_against_ones_own_full_swings_and_else_not() -> None:
    assignment = make_assignment(steps=[TENTH])
    clip = send_film(open_attempt(assignment), (4.8, 0.4), (4.8, 0.4), key=SPEED)
    assert progress.effort_of(clip) is None
    for speed in (7.6, 8.0, 8.4):
        angle = factories.make_angle(
            request=factories.make_request(student=assignment.student, angles=0)
        )
        full = factories.make_submission(student=assignment.student, angle=angle)
        factories.make_measured(full, {SPEED: (speed, 0.4)})
    found = progress.effort_of(clip)
    assert found is not None and found.value == pytest.approx(60, abs=1)


def test_the_spread_of_a_clip() -> None:
    assignment = make_assignment(steps=[TURN_RUNG])
    clip = send_film(open_attempt(assignment), (40, 2), (46, 2), (52, 2), key=TURN)
    found = judged.spread_of(judged.judged([clip])[clip.pk])
    assert found is not None and (found.low, found.high) == (40, 52)
