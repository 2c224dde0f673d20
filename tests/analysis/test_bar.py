"""The bar film on drawn bars: a known camera, textures, hands over the bar."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.bar import track_bar
from analysis.core.bar import Film, measure_bar, turn_with_spread
from analysis.core.bar_events import bar_events, bar_spans
from analysis.core.events import find_events
from analysis.core.motion import HAND
from analysis.core.pose import Capture, PoseSequence
from tests.analysis.drawn_bar import SIZE, Bar, camera_of, film, points


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


def sighting(bar: Bar, share: float) -> np.ndarray:
    """Ends and hands where a pinhole camera puts them."""
    seen = points(bar, bar.start + share * bar.turn, share)
    return np.array(
        [camera_of(bar)(seen[k]) for k in ("lead_end", "trail_end", "hand_left", "hand_right")]
    )


def told_of(bar: Bar) -> tuple[float, float]:
    square = bar.yaw if bar.view == "face_on" else -90.0 - bar.yaw
    film = Film(
        bar.view, bar.f / bar.distance, bar.f, SIZE[0] / 2, SIZE[0] / 2, 0.946, bar.stature,
        square, 0.5,
    )  # fmt: skip
    told = turn_with_spread(film, sighting(bar, 0.0), sighting(bar, 1.0), end_sd_px=0.5)
    assert told is not None
    return told


@pytest.mark.parametrize("yaw", [-6.0, 6.0])
@pytest.mark.parametrize("turn", [20.0, 45.0, 70.0])
@pytest.mark.parametrize("view", ["face_on", "down_the_line"])
def test_projected_ends_give_the_turn_back(view, turn, yaw):
    """A pinhole projection (Hartley & Zisserman 2004, ch. 6) is undone."""
    bar = Bar(view=view, turn=turn, seed=1, radius=0.167, tilt=5.0, yaw=yaw, aside=0.03)
    value, spread = told_of(bar)
    assert abs(value - turn) < max(0.3 * spread, 0.5)


def test_uncertainty_grows_where_the_geometry_is_weak():
    down = [told_of(Bar("down_the_line", turn, 1, radius=0.167))[1] for turn in (25, 50, 72)]
    face = [told_of(Bar("face_on", turn, 1, radius=0.167))[1] for turn in (15, 30, 60)]
    assert down[0] < down[1] < down[2]  # an error of scale grows with tan of the turn
    assert face[0] > face[1] > face[2]  # the cosine is flat near square


def test_crossed_hands_are_named_by_the_end_they_hold():
    frames, pose = film(Bar(view="face_on", turn=40.0, seed=9))
    xy = pose.xy_px.copy()
    left, right = HAND["left"], HAND["right"]
    xy[:, left], xy[:, right] = pose.xy_px[:, right], pose.xy_px[:, left]
    crossed = PoseSequence(pose.time_s, pose.frame, xy, pose.confidence, pose.size_px)
    track = track_bar(frames, crossed, capture=Capture("face_on", "bar", "right", 176, 94))
    seen = np.isfinite(track.lead_px[:, 0])
    assert seen.mean() > 0.7
    assert (track.lead_px[seen, 0] > track.trail_px[seen, 0]).all()
