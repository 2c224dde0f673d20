"""A shaft that swings past the camera, told from what was seen of it before and after."""

import numpy as np
import pytest

from analysis.core.led_on import late_in_backswing
from analysis.core.pose import Moment, ShaftTrack
from analysis.core.shaft_figures import Setting
from tests.analysis.core.test_club import STATURE, camera, seen

SHAFT_M, TALL = 0.9, 1000.0 * STATURE / 3.5
EVENTS = {"lead_arm_back": Moment(0.40, 0.005), "top": Moment(0.62, 0.005)}
CAMERA = camera("down_the_line")
SETTING = Setting(CAMERA, "down_the_line", STATURE, TALL, SHAFT_M, seen(CAMERA, (0.04, 0.8, 0.02)))


def direction(when):
    """From up and back at the lead arm's level to along the line at the top, past the camera."""
    turn = np.clip((when - 0.40) / 0.17, 0, 1.3) * np.pi / 2
    way = np.array([np.sin(turn), -0.5 * np.cos(turn) - 0.1, 0.85 * np.cos(turn) + 0.1])
    return way / np.linalg.norm(way)


def passing(*, rate=60.0, hidden=0.15):
    time_s = np.arange(0.25, 0.75, 1 / rate)
    hands = [np.array([-0.23 * STATURE, 0.1, 1.3 + 1.2 * (t - 0.4)]) for t in time_s]
    grip = np.stack([seen(CAMERA, place) for place in hands])
    heads = [place + SHAFT_M * direction(t) for place, t in zip(hands, time_s, strict=True)]
    head = np.stack([seen(CAMERA, place) for place in heads])
    arrow = (head - grip) * [1, -1]
    length = np.hypot(*arrow.T)
    there = np.where(length > hidden * TALL, 1.0, np.nan)
    angle = np.degrees(np.unwrap(np.arctan2(arrow[:, 1], arrow[:, 0])))
    n, nowhere = len(time_s), np.full(2, np.nan)
    return ShaftTrack(
        time_s, np.arange(n), angle * there, there, grip, length * there,
        np.full((n, 2), np.nan), nowhere, float("nan"),
    )  # fmt: skip


def told(shaft, when, doubt, id="shaft_pitch_deg"):
    return late_in_backswing(id, shaft, Moment(when, doubt), EVENTS, SETTING)


@pytest.mark.parametrize("rate", [60.0, 120.0, 240.0])
@pytest.mark.parametrize("when", [0.50, 0.52, 0.53])
def test_the_pitch_is_told_to_within_its_own_doubt(rate, when):
    value, spread = told(passing(rate=rate), when, 0.005)
    _, y, z = direction(when)
    true = np.degrees(np.arctan2(z, -y)) % 180
    assert abs((value - true + 90) % 180 - 90) <= 2 * spread
    assert 1 < spread < 21


def test_what_points_past_the_ball_follows_from_the_pitch():
    pitch, aim = (told(passing(), 0.5, 0.005, id) for id in ("shaft_pitch_deg", "shaft_aim_deg"))
    height = 1.3 + 1.2 * 0.1
    to_ball = np.degrees(np.arctan2(0.8 - 0.1, height - 0.02))
    assert aim[0] == pytest.approx(90 - pitch[0] - to_ball, abs=1.5)
    assert aim[1] >= pitch[1]


def test_a_doubtful_moment_makes_it_wider_until_it_says_no_more_than_the_average():
    shaft = passing()
    spreads = [told(shaft, 0.51, doubt)[1] for doubt in (0.010, 0.015, 0.020)]
    assert spreads == sorted(spreads)
    assert told(passing(hidden=0.3), 0.54, 0.06) == "shaft_end_on"


def test_without_a_sighting_nearby_nothing_is_told():
    assert told(passing(hidden=3.0), 0.5, 0.005) is None
    without = EVENTS | {"top": Moment(None, reason="not_reached")}
    moment = Moment(0.5, 0.005)
    assert late_in_backswing("shaft_pitch_deg", passing(), moment, without, SETTING) is None
