"""The bar film on drawn bars: a known camera, textures, hands over the bar."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.bar import track_bar
from analysis.core.bar import measure_bar
from analysis.core.bar_events import bar_events, bar_spans
from analysis.core.events import find_events
from analysis.core.pose import Capture, PoseSequence
from tests.analysis.drawn_bar import SIZE, Bar, film


def turn_of(bar: Bar, *, club_cm: float | None = None):
    frames, pose = film(bar)
    capture = Capture(bar.view, "bar", "right", 100 * bar.stature, club_cm)
    events = find_events(
        pose, None, capture=capture, window=(float(pose.time_s[0]), float(pose.time_s[-1]))
    )
    track = track_bar(frames, pose, capture=capture)
    body = SimpleNamespace(
        scale_m_per_px=bar.distance / bar.f, camera_yaw_deg=bar.yaw, camera_yaw_sd_deg=1.0
    )
    found = measure_bar(track, events, body, capture=capture, size_px=SIZE)
    return events, found["bar_turn_deg", "top"]


@pytest.mark.parametrize("turn", [40.0, 50.0])
@pytest.mark.parametrize("view", ["face_on", "down_the_line"])
def test_turn_is_read_within_twice_its_uncertainty(view, turn):
    events, reading = turn_of(Bar(view=view, turn=turn, seed=9), club_cm=94)
    assert events["address"].time_s == pytest.approx(1.0, abs=0.2)
    assert 1.8 <= events["top"].time_s <= 3.1
    assert not isinstance(reading, str)
    value, spread = reading
    assert abs(value - turn) < min(2 * spread, 6.0)
    assert spread < 6.0


@pytest.mark.parametrize("view", ["face_on", "down_the_line"])
def test_each_repetition_is_told_against_its_own_standing_still(view):
    bar = Bar(view=view, turn=45.0, seed=9)
    _, pose = film(bar, repetitions=3)
    spans = bar_spans(pose, view=view)
    assert len(spans) == 3
    for number, span in enumerate(spans):
        inside = (pose.time_s >= span[0]) & (pose.time_s <= span[1])
        events = bar_events(pose, inside)
        # anywhere in the rest of 1.4 s before the turn, or as it begins
        assert -0.4 <= events["address"].time_s - 4.4 * number <= 1.2
        assert events["top"].time_s - 4.4 * number == pytest.approx(2.5, abs=0.3)


def test_a_film_without_a_turn_is_one_stretch():
    _, pose = film(Bar(view="face_on", turn=0.0, seed=9))
    assert bar_spans(pose, view="face_on") == [(pose.time_s[0], pose.time_s[-1])]


def test_shuffling_before_the_turn_is_no_repetition():
    """Somebody who bends down first has rested twice before the one turn."""
    _, pose = film(Bar(view="face_on", turn=45.0, seed=9), repetitions=2)
    upright = pose.time_s < 3.6  # what was the first turn, made a lift of the whole body
    xy = pose.xy_px.copy()
    xy[upright] = xy[0] - np.array([0.0, 25.0]) * (pose.time_s[upright] < 2.0)[:, None, None]
    lifted = PoseSequence(pose.time_s, pose.frame, xy, pose.confidence, pose.size_px)
    ((start, end),) = bar_spans(lifted, view="face_on")
    assert start >= 1.9 and end >= 6.5


def test_without_the_clubs_length_down_the_line_says_so():
    _, reading = turn_of(Bar(view="down_the_line", turn=45.0, seed=6))
    assert reading == "no_club_length"


def test_nobody_turning_is_not_reached():
    events, reading = turn_of(Bar(view="face_on", turn=0.0, seed=9), club_cm=94)
    assert events["top"].time_s is None
    assert reading == events["top"].reason


def test_an_end_that_went_unseen_is_told_and_not_measured():
    frames, pose = film(Bar(view="face_on", turn=45.0, seed=6))
    for frame in frames:
        if frame.time_s > 1.0:  # the picture ends before the bar does
            lead = pose.xy_px[frame.index, 15]
            frame.image[:, int(lead[0]) + 25 :] = 120
    capture = Capture("face_on", "bar", "right", 176, 94)
    events = find_events(pose, None, capture=capture, window=(0.0, float(pose.time_s[-1])))
    body = SimpleNamespace(scale_m_per_px=3.6 / 940)
    track = track_bar(frames, pose, capture=capture)
    found = measure_bar(track, events, body, capture=capture, size_px=SIZE)["bar_turn_deg", "top"]
    assert found in ("bar_end_hidden", "not_seen")
    assert np.isfinite(track.sd_px)
