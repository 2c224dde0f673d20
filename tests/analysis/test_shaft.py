"""The shaft and the ball on drawn swings: known angles over textures, nets and in noise."""

import cv2
import numpy as np
import pytest

from analysis.ball import DIAMETER, could_be, find_spots, left_at_s, nearest, struck
from analysis.core.pose import Capture
from analysis.shaft import track_shaft
from analysis.video import Frame
from tests.analysis.stick import PER_M, SIZE, STATURE_M, pose_of, px, swing_hands

CAPTURE = Capture("face_on", "swing", "right", 100 * STATURE_M)
BALL_M = np.array([0.3, 0.02])


def ground(seed, *, net=False):
    rng = np.random.default_rng(seed)
    picture = np.full(SIZE[::-1], 120, np.float32)
    for cells in (8, 60):
        small = rng.normal(0, 12, (2 * cells, cells)).astype(np.float32)
        picture += cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC)
    if net:
        for k in range(-SIZE[1], SIZE[0] + SIZE[1], 24):
            cv2.line(picture, (k, 0), (k + SIZE[1], SIZE[1]), 40.0, 2)
            cv2.line(picture, (k, 0), (k - SIZE[1], SIZE[1]), 40.0, 2)
    return picture


def drawn(*, tone=235.0, net=False, noise=3.0, seed=3):
    """Frames, pose, true shaft angle and impact of a swing filmed face-on."""
    time_s, hands, truth = swing_hands()
    keys = [truth["address"], truth["top"], truth["impact"], truth["finish"]]
    angle = np.interp(time_s, keys, [-90.0, -370.0, -90.0, 120.0])
    rng = np.random.default_rng(seed)
    scene = ground(seed, net=net)
    pose = pose_of(hands, time_s=time_s)
    frames = []
    for i, t in enumerate(time_s):
        picture = scene.copy()
        if t <= truth["impact"]:
            centre = tuple(np.round(px(*BALL_M)).astype(int).tolist())
            cv2.circle(picture, centre, round(DIAMETER * STATURE_M * PER_M / 2), 250.0, -1)
        body = px(np.array([0.0, 0.2]), np.array([0.08, 1.4])).round().astype(int)
        cv2.line(picture, body[0].tolist(), body[1].tolist(), 70.0, 70)
        u = np.radians(angle[i])
        grip = px(*hands[i])
        head = grip + 0.9 * PER_M * np.array([np.cos(u), -np.sin(u)])
        fixed = [tuple(np.round(16 * p).astype(int).tolist()) for p in (grip, head)]
        cv2.line(picture, *fixed, tone, 3, cv2.LINE_AA, 4)
        picture = cv2.GaussianBlur(picture, (0, 0), 0.6) + rng.normal(0, noise, picture.shape)
        frames.append(Frame(i, float(t), np.clip(picture, 0, 255).astype(np.uint8)))
    return frames, pose, angle, truth


@pytest.mark.parametrize(
    ("tone", "net", "noise"), [(235.0, False, 3.0), (20.0, False, 8.0), (235.0, True, 3.0)]
)
def test_the_shaft_is_followed_over_ground_noise_and_net(tone, net, noise):
    frames, pose, angle, _ = drawn(tone=tone, net=net, noise=noise)
    track = track_shaft(frames, pose, capture=CAPTURE)
    seen = np.isfinite(track.angle_deg)
    error = (track.angle_deg - angle + 180) % 360 - 180
    assert seen.mean() > 0.85
    assert np.median(np.abs(error[seen])) < 0.3
    assert np.mean(np.abs(error[seen]) < 3) > 0.97
    assert np.mean(np.abs(error[seen]) <= 2 * track.sd_deg[seen]) > 0.9


def test_the_ball_is_found_and_leaves_with_the_strike():
    frames, pose, _, truth = drawn()
    track = track_shaft(frames, pose, capture=CAPTURE)
    assert np.hypot(*(track.ball_px - px(*BALL_M))) < 2.5
    assert truth["impact"] <= track.ball_gone_s <= truth["impact"] + 2.5 / 60


def test_without_a_person_nothing_is_seen():
    frames, pose, _, _ = drawn()
    empty = type(pose)(
        pose.time_s, pose.frame, pose.xy_px * np.nan, pose.confidence * np.nan, pose.size_px
    )
    track = track_shaft(frames, empty, capture=CAPTURE)
    assert np.isnan(track.angle_deg).all()
    assert len(track.angle_deg) == len(pose)


def test_a_shoe_that_stays_is_no_ball_and_a_disc_that_goes_is():
    after = np.full((200, 300), 90, np.uint8)
    cv2.ellipse(after, (80, 150), (30, 10), 0, 0, 360, 250, -1)
    before = after.copy()
    size = 500
    cv2.circle(before, (200, 140), 6, 245, -1)
    spots = find_spots(before, after, np.ones_like(after), stature=size)
    assert len(spots) == 1
    assert spots[0].centre == pytest.approx((200, 140), abs=0.6)
    assert nearest(spots, np.array([205.0, 142.0]), stature=size) is spots[0]
    assert nearest(spots, np.array([40.0, 20.0]), stature=size) is None


def test_what_goes_some_way_from_the_club_is_the_ball_only_if_it_goes_with_the_strike():
    after = np.full((200, 300), 90, np.uint8)
    before = after.copy()
    cv2.circle(before, (200, 140), 6, 245, -1)
    (spot,) = find_spots(before, after, np.ones_like(after), stature=500)

    def taken(head_x: float, left_s: float, strike_s: float | None = 1.0) -> bool:
        return could_be(spot, left_s, strike_s, np.array([head_x, 140.0]), stature=500)

    assert taken(205, float("nan")), "by the club it need not be seen to go"
    assert taken(270, 1.02)
    assert not taken(270, 1.14)
    assert not taken(270, float("nan"))
    assert not taken(270, 1.02, None)


def test_a_disc_that_leaves_with_the_strike_is_the_ball_wherever_the_club_points():
    after = np.full((200, 300), 90, np.uint8)
    before = after.copy()
    cv2.circle(before, (200, 140), 6, 245, -1)
    cv2.circle(before, (60, 140), 6, 245, -1)
    spots = find_spots(before, after, np.ones_like(after), stature=500)
    assert len(spots) == 2
    assert struck(spots, [float("nan"), 1.02], 1.0) is spots[1]
    assert struck(spots, [1.02, 1.4], 1.0) is spots[0]
    assert struck(spots, [float("nan"), 1.4], 1.0) is None
    assert struck(spots, [1.0, 1.0], None) is None


def test_the_ball_has_left_from_the_first_frame_that_stays_without_it():
    before = np.full((60, 60), 90, np.uint8)
    after = before.copy()
    cv2.circle(before, (30, 30), 6, 245, -1)
    [spot] = find_spots(before, after, np.ones_like(before), stature=500)
    t = np.arange(10) / 60
    level = np.where(t < 5 / 60, spot.with_it, spot.without_it)
    level[2] = spot.without_it  # the head passes in front for a moment
    assert left_at_s(t, level, spot, around_s=0.1) == pytest.approx(5 / 60)
    assert np.isnan(left_at_s(t, np.full(10, spot.with_it), spot, around_s=0.1))
