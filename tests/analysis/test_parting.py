"""What films of one swing share of an error."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis import parting


@pytest.fixture(autouse=True)
def _weights(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        parting.weights, "load", lambda view: {"film/pelvis_turn_deg/top": np.array(0.25)}
    )


def test_the_shared_part_is_what_the_film_leaves() -> None:
    assert parting.shared_share("pelvis_turn_deg", "top", "face_on") == pytest.approx(0.75)
    assert parting.shared_share("shaft_pitch_deg", "top", "face_on") is None
    assert parting.shared_share("pelvis_turn_deg", "top", "rear") is None


def test_a_difference_knows_only_the_films_part() -> None:
    told = parting.difference_u("pelvis_turn_deg", "top", "face_on", 8.0, 6.0)
    assert told == pytest.approx(5.0)  # sqrt(.25) of 10
    whole = parting.difference_u("tempo_ratio", "impact", "face_on", 0.3, 0.4)
    assert whole == pytest.approx(math.hypot(0.3, 0.4))
