"""What the network is trained on: truth, other cameras, other bodies. No PyTorch needed."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core import corrector, spread
from analysis.core.corrector import FIGURES
from analysis.core.measures import body_curves
from analysis.core.pose import JOINTS, LANDMARK
from analysis.training import augment, calibrate, crossval, sharing, table
from analysis.training.augment import Augmenter, Ranges
from tests.analysis.golfer import figure

STILL = Ranges(**dict.fromkeys(Ranges.__dataclass_fields__, 0.0))
PHASES = np.array([0.0, 0.0, 0.5, 1.0, 1.5, 2.0, 2.5])
EVENTS = np.array([0, 0, -1, 3, -1, 6, -1])
TURNS = np.radians([0.0, 0.0, 20.0, 40.0, 5.0, -30.0, -60.0])
FOCAL, DISTANCE, SIZE = 930.0, 3.5, (720, 1280)


def swings(view: str = "down_the_line") -> table.Table:
    """Two swings of two bodies, landmarks where the joints are drawn."""
    away, out = np.zeros(3), np.zeros((3, 3))
    # rows: the picture's right, down and ahead, in the golfer's X, -Y, Z
    if view == "down_the_line":
        out[:] = [[0, -1, 0], [0, 0, -1], [1, 0, 0]]
    else:
        out[:] = [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    away[:] = [0, 0.9, DISTANCE]
    n = len(PHASES)
    xyz = np.tile(np.array([figure(t) for t in TURNS]), (2, 1, 1))
    camera = np.einsum("ij,nkj->nki", out, xyz * [1, -1, 1]) + away
    xy = camera[..., :2] / camera[..., 2:] * FOCAL + np.array(SIZE) / 2
    frame = {
        "swing": np.repeat([0, 1], n), "t": np.tile(PHASES * 0.5 - 0.01 * (EVENTS == 0), 2),
        "phase": np.tile(PHASES, 2), "event": np.tile(EVENTS, 2), "true_xyz": xyz, "true_xy": xy,
        "mp_xy": xy[:, augment._DEPTH_OF], "depth": np.zeros((2 * n, 33)),
        "mp_world": np.zeros((2 * n, 33, 3)), "confidence": np.ones((2 * n, 33)),
        "hip_yaw": np.degrees(np.tile(TURNS, 2)), "sho_yaw": np.degrees(np.tile(TURNS, 2)),
        "balance": np.full(2 * n, 50.0),
    }  # fmt: skip
    told = {
        "sid": np.arange(2), "body": np.array([3, 8]), "stature": np.array([180.0, 180.0]),
        "view": np.full(2, table.VIEWS[view]), "setup_only": np.zeros(2, int),
        "w": np.full(2, SIZE[0]), "h": np.full(2, SIZE[1]), "f": np.full(2, FOCAL),
        "yaw_off": np.array([2.0, -3.0]), "R": np.tile(out, (2, 1, 1)), "t": np.tile(away, (2, 1)),
    }  # fmt: skip
    return table.Table(frame, told, table._truth(frame, told))


@pytest.mark.parametrize("view", ["down_the_line", "face_on"])
def test_without_changes_the_same_picture_is_drawn_again(view: str) -> None:
    augmenter = Augmenter(swings(view))
    plain = augmenter.plain()
    drawn = augmenter.drawn(np.random.default_rng(0), STILL)
    np.testing.assert_allclose(drawn.tokens, plain.tokens, atol=1e-4)
    np.testing.assert_allclose(drawn.target, plain.target, atol=1e-3)


@pytest.mark.parametrize("view", ["down_the_line", "face_on"])
def test_truth_of_turned_and_widened_bodies_is_that_of_their_joints(view: str) -> None:
    """Figures told of deformed bodies against the closed forms on their joints in space."""
    data = swings(view)
    ranges = Ranges(**STILL.__dict__ | {"hip_twist_deg": 15.0, "log_width": 0.1})
    drawn = Augmenter(data).drawn(np.random.default_rng(2), ranges).target
    solid = drawn[:, len(FIGURES) + 2 * len(JOINTS) :].reshape(-1, len(JOINTS), 3) * 1.8
    for rows in table.rows_of(data.frame, data.swings):
        curves = body_curves(solid[rows] / 100, data.frame["t"][rows], address_s=-0.01)
        for name in ("pelvis_turn_deg", "shoulder_turn_deg", "lead_elbow_deg"):
            found = drawn[rows, FIGURES.index(name)]
            np.testing.assert_allclose(found, curves[name], atol=0.02, err_msg=name)
        depth = drawn[rows, FIGURES.index("trail_hip_depth_cm")] * 1.8
        np.testing.assert_allclose(depth, curves["trail_hip_depth_cm"], atol=0.02)
    before = Augmenter(data).plain().target
    assert np.abs(drawn - before)[:, FIGURES.index("pelvis_turn_deg")].max() > 3


@pytest.mark.parametrize(
    ("view", "far", "near", "apart_m"),
    [
        ("down_the_line", "ankle_left", "ankle_right", 0.32),
        ("face_on", "toe_left", "heel_left", 0.27),
    ],
)
def test_a_camera_off_the_line_sees_the_feet_so(
    view: str, far: str, near: str, apart_m: float
) -> None:
    """Positive yaw is toward the heels down-the-line and toward the target face-on: what lies
    farther along the view (nearer, face-on) moves to the left by its distance x sin(yaw)."""
    data = swings(view)
    ranges = Ranges(**STILL.__dict__ | {"yaw_deg": 8.0})
    augmenter = Augmenter(data)
    drawn, plain = augmenter.drawn(np.random.default_rng(5), ranges), augmenter.plain()
    figures = len(FIGURES) - 2
    assert drawn.target[:, :figures] == pytest.approx(plain.target[:, :figures], abs=1e-3)
    yaw = np.radians((drawn.target - plain.target)[:, FIGURES.index("camera_yaw_deg")])
    assert np.abs(yaw).max() > np.radians(2)
    a, b = (2 * corrector._READ.index(LANDMARK[name]) for name in (far, near))
    seen = (drawn.tokens[:, a] - drawn.tokens[:, b]) - (plain.tokens[:, a] - plain.tokens[:, b])
    np.testing.assert_allclose(1.8 * seen, -apart_m * np.sin(yaw), rtol=0.25, atol=0.004)


def test_upright_pictures_lean_by_what_is_left() -> None:
    data = swings("face_on")
    lean = np.radians(3.0)
    turn = np.array([[np.cos(lean), -np.sin(lean), 0], [np.sin(lean), np.cos(lean), 0], [0, 0, 1]])
    data.swings["R"] = turn @ data.swings["R"]
    data.swings["t"] = data.swings["t"] @ turn.T
    roll = FIGURES.index("camera_roll_deg")
    augmenter = Augmenter(data)
    np.testing.assert_allclose(augmenter.plain().target[:, roll], 3.0, atol=1e-4)
    assert np.abs(augmenter.plain(level=True).target[:, roll]).max() < 3 * augment.LEVEL_SD_DEG
    drawn = augmenter.drawn(np.random.default_rng(1), Ranges(**STILL.__dict__ | {"level": 1.0}))
    assert np.abs(drawn.target[:, roll]).max() < 3 * augment.LEVEL_SD_DEG


def test_every_body_is_unseen_once_in_each_partition() -> None:
    bodies = np.arange(36)
    parts = crossval.groups(bodies, 2, 5)
    assert len(parts) == 10
    for first in (0, 5):
        dealt = np.sort(np.concatenate(parts[first : first + 5]))
        np.testing.assert_array_equal(dealt, bodies)


def test_truth_follows_the_closed_forms() -> None:
    data = swings()
    top = np.flatnonzero(data.frame["event"] == 3)
    assert data.truth[top, FIGURES.index("pelvis_turn_deg")] == pytest.approx(40.0)
    depth = 100 * 9 * np.sin(np.radians(40)) / 180
    assert data.truth[top, FIGURES.index("trail_hip_depth_cm")] == pytest.approx(depth, abs=1e-6)


def test_arms_moved_on_their_own_change_no_turn_and_tell_the_hands_true() -> None:
    data = swings("face_on")
    ranges = Ranges(**STILL.__dict__ | {"arm_turn_deg": 25.0, "arm_lift_deg": 15.0})
    augmenter = Augmenter(data)
    drawn, plain = augmenter.drawn(np.random.default_rng(4), ranges).target, augmenter.plain()
    solid = drawn[:, len(FIGURES) + 2 * len(JOINTS) :].reshape(-1, len(JOINTS), 3) * 1.8
    moved = np.abs(drawn - plain.target)
    for name in ("pelvis_turn_deg", "shoulder_turn_deg", "side_tilt_deg"):
        assert moved[:, FIGURES.index(name)].max() < 0.01, name
    hands = FIGURES.index("hand_depth_cm")
    assert moved[:, hands].max() > 3
    for rows in table.rows_of(data.frame, data.swings):
        curves = body_curves(solid[rows] / 100, data.frame["t"][rows], address_s=-0.01)
        np.testing.assert_allclose(1.8 * drawn[rows, hands], curves["hand_depth_cm"], atol=0.05)
        assert moved[rows[:2], hands].max() < 0.01  # not at address


def families() -> dict[str, np.ndarray]:
    """A habitual swing of bodies 0 to 9, and one film of every family on its own body."""
    number = np.array([n for n, _ in table.FAMILIES.values()])
    own = 10_000 + number
    own[number >= 8] = 10_009
    body = np.concatenate([np.arange(10), own])
    return {"body": body, "from_body": body, "family": np.concatenate([np.zeros(10, int), number])}


@pytest.mark.parametrize("group", range(5))
def test_a_member_tells_errors_only_of_what_it_never_saw(group: int) -> None:
    unseen = np.array([group, group + 5])
    seen, blind = (f(families(), unseen, group) for f in (crossval.seen_by, crossval.blind_to))
    assert not (seen & blind).any()
    assert blind[:10].sum() == 2 and seen[:10].sum() == 8
    assert blind[-4:].all()  # what is for tests


def test_every_family_to_learn_from_is_kept_from_one_group_of_members() -> None:
    groups = {g for _, g in table.FAMILIES.values() if g is not None}
    assert groups == set(range(5))


def test_a_spread_drawn_from_errors_is_as_large_as_they_are() -> None:
    rng = np.random.default_rng(1)
    raw, odd = rng.uniform(2, 20, 4000), rng.uniform(0.3, 3, 4000)
    true = 1.4 * raw * np.maximum(odd, 1) ** 0.8
    power, knots = calibrate._best(rng.normal(0, true), raw, odd, np.ones(4000))
    u = spread.along(spread.evidence(raw, odd, power), knots)
    assert power == pytest.approx(0.8, abs=0.25)
    middle = (true > np.quantile(true, 0.05)) & (true < np.quantile(true, 0.95))
    assert np.abs(u / true - 1)[middle].mean() < 0.12
    assert (np.diff(knots[1]) >= 0).all()


def test_rising_values_keep_their_mean() -> None:
    values, mass = np.array([1.0, 3.0, 2.0, 4.0]), np.array([1.0, 1.0, 3.0, 1.0])
    found = calibrate._rising(values, mass)
    np.testing.assert_allclose(found, [1, 2.25, 2.25, 4])
    assert found @ mass == pytest.approx(values @ mass)


def test_the_films_share_of_an_error_is_found() -> None:
    """One-way analysis of variance: 40 swings of 4 films, swing 6 and film 3 (share 0.2)."""
    rng = np.random.default_rng(3)
    motion = np.repeat(np.arange(40), 4)
    error = rng.normal(0, 6, 40)[motion] + rng.normal(0, 3, 160)
    errors = crossval.Errors(np.arange(160), np.zeros(160), error, np.ones(160))
    share = sharing.film_share(errors, motion)
    assert share == pytest.approx(0.2, abs=0.07)
    few = errors.of(motion < 10)
    assert sharing.film_share(few, motion[motion < 10]) is None
