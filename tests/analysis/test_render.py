"""Bodies that take over a motion. No PyTorch, anny or numba needed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.core.corrector import FIGURES
from analysis.core.measures import body_curves
from analysis.core.pose import SIDE_SWAP
from analysis.estimators import Person
from analysis.training import augment, table
from analysis.training.render import course, dress, free, habits, paint, posing
from analysis.training.render.held import HeldScene
from analysis.training.render.paint import Camera, Light
from analysis.training.render.posing import Changes
from analysis.training.render.scene import Y_AWAY, Motion, Scene
from analysis.training.render.swing import KeyScene, SwingScene, key_moments, moments
from analysis.training.table import COLUMN, FOR_TESTS, OURS, VIEWS
from tests.analysis.golfer import figure, small_body

MESH, BODY = small_body()
PHASE = np.array([0.0, 0.0, 0.3, 0.6, 1.0, 1.0, 1.3, 1.6, 2.0, 2.0, 2.3])
EVENT = np.array([0, 0, 1, 2, 3, 3, 4, 5, 6, 6, -1])
TURN_DEG = np.array([0.0, 0.0, 12.0, 25.0, 40.0, 40.0, 20.0, -10.0, -30.0, -30.0, -45.0])
TIME_S = np.arange(len(PHASE)) / 10
SOURCE = np.array([figure(turn) for turn in np.radians(TURN_DEG)])
SAME = Changes((0, 0), (0, 0), 0.0, 1.0, np.zeros(3), np.zeros((2, 2)))
OTHER = Changes((9, -12), (-7, 5), 4.0, 1.1, np.full(3, 0.01), np.full((2, 2), 0.01))
LIGHT = Light(np.array([0.0, 0.0, 1.0]), 0.5, 0.5, np.ones(3))
BONES = {
    "shoulder": "upperarm01", "elbow": "lowerarm01", "wrist": "wrist",
    "hip": "upperleg01", "knee": "lowerleg01", "ankle": "foot",
}  # fmt: skip
SIDES = {"lead": "L", "trail": "R"}  # a right-hander leads with the left


def posed(changes: Changes = SAME, hands: np.ndarray | None = None) -> posing.Posed:
    return posing.pose(BODY, MESH, SOURCE, PHASE, changes, hands=hands)


def heads(pose: posing.Posed) -> np.ndarray:
    """Bone heads (T, B, 3) in the scene, from what the skin is moved by."""
    return np.einsum("tbij,bj->tbi", pose.turn, BODY.heads) + pose.place


def curves(joints: np.ndarray, time_s: np.ndarray = TIME_S) -> dict[str, np.ndarray]:
    return body_curves(joints[:, OURS], time_s, address_s=float(time_s[0]))


def scene_of(kind: type[Scene], seed: int) -> Scene:
    motion = Motion(TIME_S, PHASE, EVENT, SOURCE, body=5, part=0.75)
    return kind(np.random.default_rng(seed), [motion], MESH, [BODY])


@pytest.mark.parametrize("changes", [SAME, OTHER])
def test_feet_stay_where_they_stand(changes: Changes) -> None:
    joints = posed(changes).joints
    for side in SIDES:
        for part in ("ankle", "heel", "toe"):
            moved = joints[:, COLUMN[f"{part}_{side}"]] - joints[0, COLUMN[f"{part}_{side}"]]
            assert np.abs(moved).max() < 0.001, (part, side)
    stance = joints[0, COLUMN["ankle_lead"], 0] - joints[0, COLUMN["ankle_trail"], 0]
    size = BODY.stature_m / posing.stature_of({n: SOURCE[:, i] for n, i in COLUMN.items()})
    assert stance == pytest.approx(0.32 * size * changes.stance)


@pytest.mark.parametrize("changes", [SAME, OTHER])
def test_limbs_are_as_long_as_the_bodys_own(changes: Changes) -> None:
    joints = posed(changes).joints
    for side, letter in SIDES.items():
        for a, b in (("shoulder", "elbow"), ("elbow", "wrist"), ("hip", "knee"), ("knee", "ankle")):
            found = joints[:, COLUMN[f"{a}_{side}"]] - joints[:, COLUMN[f"{b}_{side}"]]
            bones = [MESH.bone(f"{BONES[limb]}.{letter}") for limb in (a, b)]
            own = np.linalg.norm(np.subtract(*BODY.heads[bones]))
            np.testing.assert_allclose(np.linalg.norm(found, axis=1), own, atol=1e-9)


def test_told_joints_are_where_the_skin_is_taken() -> None:
    pose = posed(OTHER)
    for side, letter in SIDES.items():
        for joint, bone in BONES.items():
            own = heads(pose)[:, MESH.bone(f"{bone}.{letter}")]
            told = pose.joints[:, COLUMN[f"{joint}_{side}"]] * Y_AWAY
            np.testing.assert_allclose(told, own, atol=1e-9)
    assert pose.joints[0, COLUMN["hip_lead"], 0] > pose.joints[0, COLUMN["hip_trail"], 0]
    assert pose.joints[0, COLUMN["toe_lead"], 1] > pose.joints[0, COLUMN["heel_lead"], 1]


def test_turns_are_those_of_the_source() -> None:
    told = curves(posed().joints)
    np.testing.assert_allclose(told["pelvis_turn_deg"], TURN_DEG, atol=1e-6)
    np.testing.assert_allclose(told["shoulder_turn_deg"], TURN_DEG, atol=1e-6)


@pytest.mark.parametrize(
    ("line", "other", "changes"),
    [
        ("pelvis_turn_deg", "shoulder_turn_deg", replace(SAME, hip_turn_deg=(9, -12))),
        ("shoulder_turn_deg", "pelvis_turn_deg", replace(SAME, chest_turn_deg=(9, -12))),
    ],
)
def test_a_line_turns_by_as_much_as_asked(line: str, other: str, changes: Changes) -> None:
    """Positive is away from the target, as in every turn that is told."""
    plain, told = curves(posed().joints), curves(posed(changes).joints)
    more = np.interp(PHASE, [0, 1, 2], [0, 9, -12])
    np.testing.assert_allclose(told[line] - plain[line], more, atol=1e-6)
    np.testing.assert_allclose(told[other], plain[other], atol=1e-6)


def test_both_hands_point_where_asked() -> None:
    ahead = np.tile([0.6, -0.8, 0.0], (len(PHASE), 1))
    found = heads(posed(hands=ahead))
    for letter in SIDES.values():
        hand = found[:, MESH.bone(f"finger3-1.{letter}")] - found[:, MESH.bone(f"wrist.{letter}")]
        np.testing.assert_allclose(
            hand / np.linalg.norm(hand, axis=1, keepdims=True), ahead, atol=1e-9
        )


def test_moments_drawn_hold_address_top_and_impact() -> None:
    phase = np.linspace(0, 3, 61)
    event = np.full(61, -1)
    for code, at in ((0, [0, 1, 2]), (2, [15]), (3, [19, 20, 21]), (4, [25]), (6, [40, 41])):
        event[at] = code
    rows = moments(np.random.default_rng(0), event, phase)
    assert len(rows) == 20 and (np.diff(rows) > 0).all() and phase[rows].max() < 2.6
    assert all((event[rows] == code).sum() >= 2 for code in (0, 3, 6))
    assert {2, 4} <= set(event[rows])
    assert list(event[key_moments(event)]) == [0, 3, 3, 6, 6]


@pytest.mark.parametrize("seed", range(6))
def test_a_held_club_turns_with_what_it_lies_on(seed: int) -> None:
    scene = scene_of(HeldScene, seed)
    told = curves(scene.posed.joints, scene.act.time_s)
    along = scene.ends[:, 0] - scene.ends[:, 1]
    club = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    wrists = scene.posed.joints[:, [COLUMN["wrist_lead"], COLUMN["wrist_trail"]]]
    low = wrists[0, :, 2].mean() < scene.posed.joints[0, COLUMN["elbow_lead"], 2]
    line = "pelvis_turn_deg" if low else "shoulder_turn_deg"
    np.testing.assert_allclose(told[line] - told[line][0], club - club[0], atol=2)
    assert club[-1] > 20
    away = np.cross(wrists - scene.ends[:, 1:], along[:, None]) / np.linalg.norm(along[0])
    assert np.linalg.norm(away, axis=2).max() < 0.2


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("kind", [SwingScene, KeyScene, HeldScene])
def test_the_table_reads_what_a_scene_tells(kind: type[Scene], left: bool, tmp_path: Path) -> None:
    """Landmarks put where the joints are drawn come back there, whoever is left-handed."""
    scene = scene_of(kind, 3)
    scene.left = left
    flat, depth = scene.camera.see(scene.posed.joints * Y_AWAY)
    xy = flat[:, augment._DEPTH_OF]
    if left:  # the picture was mirrored
        xy = xy[:, SIDE_SWAP]
        xy[..., 0] = scene.camera.size_px[0] - xy[..., 0]
    near, sure, world = depth[:, augment._DEPTH_OF], np.ones(33), np.zeros((33, 3))
    people = [[Person(p, z, sure, world)] for p, z in zip(xy, near, strict=True)]
    rows = scene.rows(people) | {"s_sid": np.array([7]), "f_sid": np.full(len(xy), 7)}
    (tmp_path / "shards").mkdir()
    np.savez(tmp_path / "shards" / "w9_000.npz", **rows)
    (view,) = (name for name, code in VIEWS.items() if code == scene.view)
    read = table.load(view, tmp_path)
    assert list(read.swings["from_body"]) == [5] and read.swings["body"][0] >= 1000
    assert list(read.swings["part"]) == [0.75]
    np.testing.assert_allclose(read.frame["true_xy"], flat, atol=1 / 16)
    clean = ~read.frame["repaired"]
    seen = read.frame["true_xy"][:, augment._DEPTH_OF]
    np.testing.assert_allclose(read.frame["mp_xy"][clean], seen[clean], atol=1 / 8)
    told = curves(scene.posed.joints, scene.act.time_s)
    pelvis = read.truth[:, FIGURES.index("pelvis_turn_deg")]
    np.testing.assert_allclose(pelvis, told["pelvis_turn_deg"], atol=0.01)


def test_clothes_lie_over_the_skin() -> None:
    worn = dress.dress(BODY, MESH, np.random.default_rng(2))
    out = np.sum((worn.vertices - BODY.vertices) * dress.normals(BODY.vertices, MESH.faces), axis=1)
    assert out.min() >= -1e-12 and 0.001 < out.max() < 0.15
    part = {name: set(worn.part[6 * k : 6 * k + 6]) for k, name in enumerate(MESH.labels)}
    assert part["foot.L"] == part["foot.R"] == {dress.SHOE}
    assert part["wrist.L"] == {dress.GLOVE} and part["wrist.R"] == {dress.SKIN}
    assert part["spine02"] == {dress.SHIRT} and part["upperleg01.L"] <= {dress.LEGS, dress.SHIRT}


def camera() -> Camera:
    """Four metres before the golfer, looking level from 1 m above the ground."""
    turn = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    return Camera(turn, -turn @ np.array([0, -4.0, 1.0]), 400.0, (200, 300))


def test_the_nearer_of_two_faces_is_seen() -> None:
    corners = np.array([[-0.5, 0, 0.5], [0.5, 0, 0.5], [0, 0, 1.5]])
    points = np.concatenate([corners - (0, 0.2, 0), corners])
    xy, z = camera().see(points)
    colours = np.zeros((8, 2, 3))
    colours[1, 0], colours[2, 0] = 0.25, 0.75
    part = np.repeat([1, 2], 3)
    for faces in ([[0, 1, 2], [3, 4, 5]], [[3, 4, 5], [0, 1, 2]]):
        out, depth = np.zeros((300, 200, 3), np.float32), np.full((300, 200), np.inf)
        plain = (np.zeros(8, int), np.ones(8), 0.0)
        paint._fill(xy, z, faces, np.ones(6), part, points, colours, *plain, out, depth)
        assert out[160, 100] == pytest.approx(0.25)
        assert depth[160, 100] == pytest.approx(3.8)
        assert out[20, 20] == pytest.approx(0.0)


def test_hands_hide_the_club_they_hold() -> None:
    picture = np.zeros((300, 200, 3), np.float32)
    ends, hands = np.array([[-0.5, 0, 1], [0.5, 0, 1]]), np.array([[-0.2, 0, 1], [0.2, 0, 1]])
    paint.paint_bar(picture, ends, hands, camera(), np.ones(3), LIGHT)
    drawn = picture[150, :, 0] > 0.5
    at = [int(camera().see(np.array([x, 0, 1]))[0][0]) for x in (-0.4, -0.2, 0, 0.2, 0.4, 0.6)]
    assert list(drawn[at]) == [True, False, True, False, True, False]


def free_scene(kind: type[Scene], seed: int) -> Scene:
    """On the tenth of ten like bodies for tests, else on the first of each group."""
    motion = Motion(TIME_S, PHASE, EVENT, SOURCE, body=5, part=0.75)
    return kind(np.random.default_rng(seed), [motion], MESH, [BODY] * 10)


@pytest.mark.parametrize("name", free.FREE_SCENES)
def test_a_drawn_motion_stands_on_its_toes_and_keeps_its_bones(name: str) -> None:
    scene = free_scene(free.FREE_SCENES[name], 3)
    joints = scene.posed.joints
    for side, letter in SIDES.items():
        toe = joints[:, COLUMN[f"toe_{side}"]]
        assert np.abs(toe - toe[0]).max() < 0.03, side
        for a, b in (("shoulder", "elbow"), ("elbow", "wrist"), ("hip", "knee"), ("knee", "ankle")):
            found = joints[:, COLUMN[f"{a}_{side}"]] - joints[:, COLUMN[f"{b}_{side}"]]
            bones = [MESH.bone(f"{BONES[limb]}.{letter}") for limb in (a, b)]
            own = np.linalg.norm(np.subtract(*BODY.heads[bones]))
            np.testing.assert_allclose(np.linalg.norm(found, axis=1), own, atol=1e-9)
    assert list(np.sort(scene.act.event)) == [-1] * 10 + [0, 0, 3, 3, 6, 6]
    assert (np.diff(scene.act.time_s) >= 0).all()


def test_hands_do_not_tell_how_far_a_free_chest_has_turned() -> None:
    """Two hundred motions: chest turn at the top against the arm across it and the pelvis."""
    rng, phase = np.random.default_rng(0), np.array([0.0, 1.0])
    drawn = [course.random_course(rng, habits.FREE, phase).at for _ in range(200)]
    chest, across, up, sway = (
        np.array([d[k][1] for d in drawn]) for k in ("chest", "across", "up", "sway")
    )
    assert chest.std() > 20 and across.std() > 15
    for other in (across, up, sway):
        assert abs(np.corrcoef(chest, other)[0, 1]) < 0.2


def test_moved_hands_leave_the_body_where_it_was() -> None:
    scene = free_scene(free.MovedHandsPair, 5)
    before, after = scene.posed.joints, scene._other().posed.joints
    told, again = curves(before), curves(after)
    for name in ("pelvis_turn_deg", "shoulder_turn_deg", "side_tilt_deg"):
        np.testing.assert_allclose(again[name], told[name], atol=1e-6, err_msg=name)
    top = np.flatnonzero(scene.act.event == 3)
    moved = np.linalg.norm(after[top, COLUMN["grip"]] - before[top, COLUMN["grip"]], axis=1)
    assert moved.min() > 0.03  # these hands hang near the plumb line through the chest


def test_a_pair_for_change_turns_by_twelve_degrees() -> None:
    scene = free_scene(free.MoreTurnPair, 2)
    before, after = curves(scene.posed.joints), curves(scene._other().posed.joints)
    top = scene.act.event == 3
    for name in ("pelvis_turn_deg", "shoulder_turn_deg"):
        np.testing.assert_allclose((after[name] - before[name])[top], 12, atol=0.2)


def test_bodies_of_tests_are_nobody_elses() -> None:
    scenes = [*free.FREE_SCENES.values(), free.LooseScene, free.SameHandsScene, free.MovedHandsPair]
    owner: dict[int, int | None] = {}
    for kind in scenes:
        for body in kind._bodies(kind.__new__(kind), 40):
            assert owner.setdefault(body, kind.group) == kind.group, kind
            assert (body % 10 == FOR_TESTS) == (kind.group is None)
