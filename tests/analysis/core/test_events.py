"""Repetitions and moments on swings whose truth is in the formula that draws them.

Event definitions: McNally et al., GolfDB, CVPR Workshops 2019 (arXiv 1903.06528).
"""

import numpy as np
import pytest

from analysis.core.events import find_events
from analysis.core.motion import stature_px
from analysis.core.pose import Capture, Moment, ShaftTrack
from analysis.core.repetitions import find_repetitions
from tests.analysis.stick import STATURE_M, pose_of, px, swing_hands

FACE_ON = Capture("face_on", "swing", "right", 100 * STATURE_M)


def found(pose):
    return find_repetitions(pose, stature_px=stature_px(pose, view="face_on"))


@pytest.mark.parametrize("after_s", [0.0, 0.05, 0.15])
def test_a_film_that_ends_at_the_strike_holds_a_swing(after_s):
    time_s, hands, truth = swing_hands(rate=60)
    there = time_s <= truth["impact"] + after_s
    pose = pose_of(hands[there], time_s=time_s[there])
    [(start, end)] = found(pose)
    assert start < truth["address"]
    assert end == pytest.approx(pose.time_s[-1], abs=0.02)
    events = find_events(pose, None, capture=FACE_ON, window=(start, end))
    assert events["impact"].time_s == pytest.approx(truth["impact"], abs=0.03)
    assert events["finish"].reason == "not_reached"
    late = [m.time_s for m in events.values() if m.time_s is not None]
    assert max(late) <= pose.time_s[-1] + 1e-6


@pytest.mark.parametrize("before_s", [0.15, 0.3, 0.4])
def test_a_film_that_begins_in_the_backswing_tells_the_strike_and_no_takeaway(before_s):
    time_s, hands, truth = swing_hands(rate=60)
    there = time_s >= truth["top"] - before_s
    pose = pose_of(hands[there], time_s=time_s[there])
    window = (float(pose.time_s[0]), float(pose.time_s[-1]))
    events = find_events(pose, None, capture=FACE_ON, window=window)
    assert events["address"].reason == "no_still_address"
    assert events["takeaway"].reason == "not_seen"
    assert events["impact"].time_s == pytest.approx(truth["impact"], abs=0.04)
    assert events["top"].time_s == pytest.approx(truth["top"], abs=0.025)


def test_a_film_that_ends_on_the_way_down_or_lowers_the_club_holds_none():
    time_s, hands, truth = swing_hands(rate=60)
    falling = time_s <= truth["impact"] - 0.06
    assert found(pose_of(hands[falling], time_s=time_s[falling])) == []
    back = time_s <= truth["top"]
    lowered = np.concatenate([hands[back], hands[back][::-1]])
    assert found(pose_of(lowered, time_s=np.arange(len(lowered)) / 60)) == []


@pytest.mark.parametrize("rate", [15, 30, 60, 120])
@pytest.mark.parametrize("slow", [1, 4])
def test_one_swing_is_found_at_any_rate_and_in_slow_motion(rate, slow):
    time_s, hands, truth = swing_hands(rate=rate)
    [(start, end)] = found(pose_of(hands, time_s=time_s * slow))
    assert start < truth["address"] * slow
    assert truth["impact"] * slow < end


def test_the_same_without_the_first_stillness_is_still_one_swing():
    time_s, hands, _ = swing_hands(still_s=0.1)
    assert len(found(pose_of(hands, time_s=time_s))) == 1


def test_a_waggle_and_a_broken_off_backswing_are_no_swings():
    time_s, hands, truth = swing_hands()
    start, top = (int(np.argmin(abs(time_s - truth[e]))) for e in ("address", "top"))
    up = hands[start : start + (top - start) * 3 // 4]
    wag = hands[start : start + (top - start) // 4]
    slow_down = np.repeat(up[::-1], 2, axis=0)
    path = np.concatenate([hands[:start], wag, wag[::-1], up, slow_down, hands])
    assert len(found(pose_of(path))) == 1


def test_hands_apart_or_walking_feet_are_no_swing():
    time_s, hands, _ = swing_hands()
    assert found(pose_of(hands, time_s=time_s, apart=0.3)) == []
    walking = pose_of(hands, time_s=time_s)
    xy = walking.xy_px + np.stack([400 * time_s, 0 * time_s], axis=1)[:, None]
    assert (
        found(type(walking)(time_s, walking.frame, xy, walking.confidence, walking.size_px)) == []
    )


def test_standing_still_is_no_swing_but_has_an_address():
    pose = pose_of(np.tile([0.3, 0.8], (120, 1)))
    assert found(pose) == []
    events = find_events(pose, None, capture=FACE_ON, window=(0.0, 2.0))
    assert events["address"].time_s == pytest.approx(0.0)
    assert events["top"].reason == "no_swing"


def test_events_of_the_hands_lie_where_the_formula_puts_them():
    time_s, hands, truth = swing_hands()
    pose = pose_of(hands, time_s=time_s)
    events = find_events(pose, None, capture=FACE_ON, window=(0.0, float(time_s[-1])))
    assert events["top"].time_s == pytest.approx(truth["top"], abs=0.025)
    assert events["address"].time_s == pytest.approx(truth["address"], abs=0.05)
    assert events["impact"].time_s == pytest.approx(truth["impact"], abs=0.04)
    top_up = hands[:, 1].max()
    drop = truth["top"] + np.sqrt(0.10 / (top_up - 0.78)) * 0.27
    assert events["transition"].time_s == pytest.approx(drop, abs=0.02)
    order = [m.time_s for m in events.values() if m.time_s is not None]
    assert order == sorted(order)
    assert all(m.uncertainty_s >= 1 / 120 - 1e-9 for m in events.values() if m.time_s is not None)


def test_an_arm_that_never_gets_level_is_not_reached():
    time_s, hands, _ = swing_hands(rise_m=0.35)
    pose = pose_of(hands, time_s=time_s)
    events = find_events(pose, None, capture=FACE_ON, window=(0.0, float(time_s[-1])))
    assert events["lead_arm_back"].reason == "not_reached"
    assert events["late_back"].reason == "not_reached"
    assert events["transition"].time_s is not None


def test_better_joints_replace_the_landmarks_for_the_lead_arm():
    time_s, hands, truth = swing_hands()
    pose = pose_of(hands, time_s=time_s)
    arm = 200 * (time_s - 1.5)  # level at 1.5 s exactly
    arm = np.where(time_s > truth["top"], 200 * (2.0 - time_s), arm)
    events = find_events(
        pose, None, capture=FACE_ON, window=(0.0, float(time_s[-1])), arm_deg=(arm, 1.0)
    )
    assert events["lead_arm_back"].time_s == pytest.approx(1.5, abs=0.005)
    assert events["lead_arm_back"].uncertainty_s == pytest.approx(1 / 120, abs=0.004)
    assert events["lead_arm_down"].time_s == pytest.approx(2.0, abs=0.005)


def test_hands_that_pause_in_the_picture_turn_back_where_they_do_in_space():
    """Down-the-line the hands hover at the top while they still travel along the view."""
    time_s, hands, truth = swing_hands()
    pause = truth["top"] + 0.1
    hovering = np.where((time_s > truth["top"]) & (time_s < pause), truth["top"], time_s)
    hovering = np.where(time_s >= pause, time_s - 0.1, hovering)
    picture = np.stack([np.interp(hovering, time_s, axis) for axis in hands.T], axis=1)
    away = -0.3 * np.clip(1 - np.abs(time_s - pause) / 0.4, 0, None)
    space = np.column_stack([away, picture])
    events = find_events(
        pose_of(picture, time_s=time_s),
        None,
        capture=FACE_ON,
        window=(0.0, float(time_s[-1])),
        hands_in_space_m=space,
    )
    assert events["top"].time_s == pytest.approx(pause, abs=0.02)


def test_who_sways_in_the_finish_has_one_that_is_less_sure():
    time_s, hands, truth = swing_hands(rest_s=1.0)
    sway = 0.07 * np.sin(2 * np.pi * 2.5 * (time_s - truth["finish"]))
    swaying = hands + np.where(time_s > truth["finish"], sway, 0.0)[:, None]
    sure, unsure = (
        find_events(
            pose_of(path, time_s=time_s), None, capture=FACE_ON, window=(0.0, float(time_s[-1]))
        )["finish"]
        for path in (hands, swaying)
    )
    for moment in (sure, unsure):
        assert moment.time_s == pytest.approx(truth["finish"], abs=0.15)
    assert unsure.uncertainty_s > sure.uncertainty_s


def test_a_repetition_without_rest_takes_the_first_ones_address():
    _time_s, hands, _ = swing_hands(still_s=0.0)
    sway = 0.08 * np.sin(2 * np.pi * 2 * np.arange(0, 0.5, 1 / 60))
    moving = np.concatenate([hands[0] + np.stack([sway, sway], axis=1), hands])
    pose = pose_of(moving)
    first = Moment(-3.0, 0.02)
    events = find_events(
        pose, None, capture=FACE_ON, window=(0.0, float(pose.time_s[-1])), reference_address=first
    )
    assert events["address"] == first


def test_shaft_events_are_the_zero_of_its_rise_between_frames():
    time_s, hands, _truth = swing_hands()
    pose = pose_of(hands, time_s=time_s)
    # a shaft that turns evenly: level going back at 1.3 s, coming down at 2.0 s
    angle = np.interp(
        time_s, [1.0, 1.3, 1.8, 2.0, 2.07, 2.14, 2.3], [-90, -180, -330, -180, -90, 0, 90]
    )
    shaft = ShaftTrack(
        time_s,
        pose.frame,
        angle,
        np.full(len(time_s), 0.3),
        px(*hands.T),
        np.full(len(time_s), 220.0),
        np.full((len(time_s), 2), np.nan),
        np.full(2, np.nan),
        float("nan"),
    )
    events = find_events(pose, shaft, capture=FACE_ON, window=(0.0, float(time_s[-1])))
    assert events["takeaway"].time_s == pytest.approx(1.3, abs=0.004)
    assert events["delivery"].time_s == pytest.approx(2.0, abs=0.004)
    assert events["follow_through"].time_s == pytest.approx(2.14, abs=0.004)


def test_a_hold_tops_in_the_middle_of_its_stillness():
    time_s, hands, truth = swing_hands()
    top = int(np.argmin(abs(time_s - truth["top"])))
    path = np.concatenate([hands[:top], np.tile(hands[top - 1], (90, 1))])
    capture = Capture("face_on", "hold", "right", 180)
    events = find_events(pose_of(path), None, capture=capture, window=(0.0, len(path) / 60))
    assert list(events) == ["address", "takeaway", "lead_arm_back", "late_back", "top"]
    middle = (top + 45) / 60
    assert events["top"].time_s == pytest.approx(middle, abs=0.12)


def test_nobody_gives_reasons_and_no_times():
    pose = pose_of(np.full((30, 2), np.nan))
    events = find_events(pose, None, capture=FACE_ON, window=(0.0, 1.0))
    assert {m.reason for m in events.values()} == {"not_seen"}
