"""The side filmed from and the hand played with, each from several signs at once."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.motion import hands_px
from analysis.core.pose import LANDMARK, LANDMARKS, SIDE_SWAP, PoseSequence
from analysis.core.repetitions import find_repetitions
from analysis.core.signs import (
    HANDS_AT_TOP,
    HANDS_SURE,
    VIEW_SURE,
    back_turned,
    lean_deg,
    other_hand,
    view_score,
)
from tests.analysis.stick import PER_M, STATURE_M, pose_of, swing_hands
from tests.analysis.test_capture import golfer

STATURE_PX = PER_M * STATURE_M
HAND = [LANDMARK[f"{part}_right"] for part in ("wrist", "pinky", "index", "thumb")]


def swing() -> tuple[PoseSequence, dict[str, float]]:
    time_s, hands, truth = swing_hands()
    return pose_of(hands, time_s=time_s), truth


def mirrored(pose: PoseSequence) -> PoseSequence:
    xy = pose.xy_px[:, SIDE_SWAP].copy()
    shoulders = [LANDMARK["shoulder_left"], LANDMARK["shoulder_right"]]
    xy[..., 0] = 2 * xy[0, shoulders, 0].mean() - xy[..., 0]
    return PoseSequence(pose.time_s, pose.frame, xy, pose.confidence, pose.size_px)


def seen(view: str, **how: float) -> np.ndarray:
    return np.stack([golfer(view=view, **how).xy_px] * 3)  # type: ignore[arg-type]


def test_both_views_are_told_apart_with_certainty() -> None:
    assert view_score(seen("down_the_line")) < -VIEW_SURE
    assert view_score(seen("face_on")) > VIEW_SURE


def test_one_sign_alone_leaves_the_view_in_doubt() -> None:
    narrow = seen("face_on", breadth=0.38)
    assert abs(view_score(narrow)) < VIEW_SURE


def test_a_back_is_told_by_the_order_of_the_shoulders() -> None:
    assert back_turned(seen("face_on", breadth=-1.0)) and not back_turned(seen("face_on"))


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_lean_is_counted_from_upright(turns: int) -> None:
    xy = seen("face_on")
    for _ in range(turns):
        xy = np.stack([-xy[..., 1], xy[..., 0]], axis=-1)
    assert lean_deg(xy) == pytest.approx(90 * min(turns, 4 - turns), abs=8)


def test_the_other_hand_is_told_by_top_and_finish_together() -> None:
    pose, truth = swing()
    when = {"top_s": truth["top"], "finish_s": truth["finish"]}
    right, both = other_hand(pose, stature_px=STATURE_PX, **when)
    left, _ = other_hand(mirrored(pose), stature_px=STATURE_PX, **when)
    assert both and right < 0 and left > HANDS_SURE
    stopped = {"top_s": truth["top"], "finish_s": 99.0}
    left, both = other_hand(mirrored(pose), stature_px=STATURE_PX, **stopped)
    assert not both and left > HANDS_AT_TOP


@pytest.mark.parametrize("surer", ["left", "right"])
@pytest.mark.parametrize("way", [(0.0, 0.5), (0.4, -0.4), (-0.5, 0.1)])
def test_a_hand_lost_for_a_moment_moves_no_hands_and_makes_no_swing(
    surer: str, way: tuple[float, float]
) -> None:
    pose, _ = swing()
    xy, sure = pose.xy_px.copy(), pose.confidence.copy()
    lost = slice(20, 24)
    xy[lost, HAND] += np.array(way) * STATURE_PX
    sure[lost, HAND] = 1.5 if surer == "right" else 0.5
    torn = PoseSequence(pose.time_s, pose.frame, xy, sure, pose.size_px)
    off = np.linalg.norm(hands_px(torn) - hands_px(pose), axis=1) / STATURE_PX
    assert off.max() < 0.05
    assert len(find_repetitions(torn, stature_px=STATURE_PX)) == 1


def test_nobody_has_no_score() -> None:
    nothing = np.full((2, len(LANDMARKS), 2), np.nan)
    assert not back_turned(nothing) and np.isnan(view_score(nothing))
