"""Corrections by hand: figures follow by differences, and nothing else moves."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from analysis import artifact as archive
from analysis import weights
from analysis.core.artifact import Artifact
from analysis.core.measures import body_curves, body_value
from analysis.core.pose import JOINT, LANDMARK, Moment
from analysis.core.remeasure import refit, remeasure
from analysis.errors import MediaMissing
from tests.analysis.core.test_measures import figure, turned

FPS, WIDTH, HEIGHT, SCALE = 60, 720, 1280, 0.004
TIMES = np.arange(121) / FPS
EVENTS = {"address": 0.25, "top": 1.0, "lead_arm_down": 1.15, "impact": 1.25}


def swing() -> np.ndarray:
    """A pelvis that turns 45 degrees and back while it travels toward the ball."""
    share = np.clip((TIMES - 0.25) / 0.75, 0, 1) - 1.6 * np.clip((TIMES - 1.0) / 0.25, 0, 1)
    frames = []
    for s in share:
        pose = turned(figure(), 45 * s, ("hip_lead", "hip_trail"))
        pose[:, 1] += 0.02 * s
        frames.append(pose)
    return np.array(frames)


def picture(joints_m: np.ndarray) -> np.ndarray:
    """Down-the-line, without perspective."""
    return np.stack(
        [WIDTH / 2 + joints_m[..., 1] / SCALE, HEIGHT * 0.8 - joints_m[..., 2] / SCALE], axis=-1
    )


def make_artifact(**capture: object) -> Artifact:
    joints = swing()
    curves = body_curves(joints, TIMES, address_s=EVENTS["address"])
    events = {e: Moment(t, 0.01) for e, t in EVENTS.items()}
    values = [
        [id, event, [body_value(id, event, curves, TIMES, events) + 1.5, 3.0]]
        for id, event in [
            ("pelvis_turn_deg", "top"), ("pelvis_turn_deg", "impact"),
            ("trunk_tilt_deg", "address"),
            ("pelvis_to_ball_cm", "top"), ("pelvis_to_ball_cm", "impact"),
            ("pelvis_to_ball_down_cm", "impact"),
        ]
    ]  # fmt: skip
    told = {"view": "down_the_line", "kind": "swing", "handedness": "right", "stature_cm": 180.0}
    meta = {
        "capture": told | {"club_cm": None} | capture,
        "size_px": [WIDTH, HEIGHT],
        "stretched": False,
        "reps": [
            {
                "events": {
                    e: {"time_s": t, "uncertainty_s": 0.01, "reason": ""} for e, t in EVENTS.items()
                },
                "values": [*values, ["shoulder_turn_deg", "top", "not_ready"]],
                "scale_m_per_px": SCALE,
                "still": True,
                "camera_yaw_deg": None,
                "camera_yaw_sd_deg": None,
            }
        ],
    }
    arrays = {
        "frame_times_s": TIMES,
        "rep0/time_s": TIMES,
        "rep0/frame": np.arange(len(TIMES)),
        "rep0/joints_m": joints,
        "rep0/joints_px": picture(joints),
        "rep0/joints_sd_m": np.full(joints.shape[:2], 0.01),
    }
    return Artifact(meta=meta, arrays=arrays)


def figures(reps: list[dict]) -> dict[tuple[str, str], dict]:
    return {(r["id"], r["event"]): r for r in reps[0]["measures"]}


def share(px: np.ndarray) -> dict[str, float]:
    return {"x": float(px[0]) / WIDTH, "y": float(px[1]) / HEIGHT}


def joint(name: str, time_s: float, moved_px: tuple[float, float]) -> dict:
    i = int(np.argmin(np.abs(TIMES - time_s)))
    place = picture(swing())[i, JOINT[name]] + moved_px
    return {"time_s": float(TIMES[i]), "target": f"joint:{name}", "value": share(place)}


def test_without_corrections_every_figure_stays() -> None:
    stored = make_artifact()
    found = figures(remeasure(stored, []))
    for id, event, reading in stored.meta["reps"][0]["values"]:
        row = found[id, event]
        if isinstance(reading, str):
            assert row["reason"] == reading
        else:
            assert row["value"] == pytest.approx(reading[0], abs=1e-3)
            assert row["source"] == "measured"


def test_a_joint_put_where_it_was_changes_nothing() -> None:
    before, after = (
        figures(remeasure(make_artifact(), c)) for c in ([], [joint("hip_trail", 1.0, (0, 0))])
    )
    for key, row in before.items():
        assert after[key]["value"] == pytest.approx(row["value"], abs=1e-6) or row["value"] is None


def test_of_a_camera_that_moved_a_joint_is_put_where_its_own_frame_shows_it() -> None:
    """The same correction, told in the pixels of a frame that lies 40 px aside."""
    still = make_artifact()
    aside = np.tile([[1.0, 0.0, -40.0], [0.0, 1.0, 12.0]], (len(TIMES), 1, 1))
    moved = Artifact(meta=still.meta, arrays={**still.arrays, "rep0/steady": aside})
    drawn = moved.in_frames(0, moved.of(0, "joints_px"))
    assert drawn - still.of(0, "joints_px") == pytest.approx(
        np.broadcast_to([40.0, -12.0], drawn.shape)
    )
    plain = figures(remeasure(still, [joint("hip_trail", 1.0, (9, 0))]))
    shifted = figures(remeasure(moved, [joint("hip_trail", 1.0, (49, -12))]))
    key = "pelvis_to_ball_cm", "top"
    assert plain[key]["value"] != pytest.approx(figures(remeasure(still, []))[key]["value"])
    for key, row in plain.items():
        assert shifted[key]["value"] == pytest.approx(row["value"]) or row["value"] is None


def test_a_moved_event_moves_its_figures_and_keeps_their_bias() -> None:
    stored = make_artifact()
    curves = body_curves(swing(), TIMES, address_s=EVENTS["address"])
    found = figures(remeasure(stored, [{"time_s": 1.0, "target": "event:top", "value": 0.9}]))[
        "pelvis_turn_deg", "top"
    ]
    expected = np.interp(0.9, TIMES, curves["pelvis_turn_deg"]) + 1.5
    assert found["value"] == pytest.approx(expected, abs=1e-2)
    assert (found["source"], found["frame"]) == ("corrected", 54)


def test_an_event_chosen_by_hand_narrows_what_its_time_cost() -> None:
    """The rate of turn times 10 ms before, times half a frame after."""
    before = figures(remeasure(make_artifact(), []))["pelvis_turn_deg", "impact"]
    after = figures(
        remeasure(make_artifact(), [{"time_s": 1.25, "target": "event:impact", "value": 1.25}])
    )["pelvis_turn_deg", "impact"]
    assert after["uncertainty"] < before["uncertainty"]


def test_address_moved_changes_what_is_told_against_it_and_the_tempo() -> None:
    reps = remeasure(make_artifact(), [{"time_s": 0.5, "target": "event:address", "value": 0.5}])
    found = figures(reps)
    assert found["pelvis_turn_deg", "top"]["value"] == pytest.approx(45 - 15 + 1.5, abs=0.05)
    assert found["backswing_s", "top"]["value"] == pytest.approx(0.5)
    assert reps[0]["events"]["address"]["source"] == "corrected"
    assert reps[0]["events"]["address"]["frame"] == 30


def test_a_hip_moved_toward_the_ball_carries_the_pelvis_and_its_turn() -> None:
    """Ten pixels are 4 cm: half of it on the middle of the hips; the bone keeps its length."""
    before = figures(remeasure(make_artifact(), []))
    after = figures(remeasure(make_artifact(), [joint("hip_trail", 1.0, (10, 0))]))
    step = after["pelvis_to_ball_cm", "top"]["value"] - before["pelvis_to_ball_cm", "top"]["value"]
    assert step == pytest.approx(2.0, abs=0.02)
    back = 0.09 * 2 * np.sin(np.radians(45))
    expected = np.degrees(np.arcsin((back - 0.04) / 0.18)) - 45
    turn = after["pelvis_turn_deg", "top"]["value"] - before["pelvis_turn_deg", "top"]["value"]
    assert turn == pytest.approx(expected, abs=0.3)
    assert after["pelvis_to_ball_cm", "top"]["source"] == "corrected"
    assert after["trunk_tilt_deg", "address"]["source"] == "measured", "far away in time"


def test_a_left_hander_is_corrected_as_he_is_seen() -> None:
    right = figures(remeasure(make_artifact(), [joint("hip_trail", 1.0, (10, 0))]))
    correction = joint("hip_trail", 1.0, (10, 0))
    correction["value"]["x"] = 1 - correction["value"]["x"]
    left = figures(remeasure(make_artifact(handedness="left"), [correction]))
    assert left == right


def test_the_archive_is_not_changed_by_remeasuring() -> None:
    stored = make_artifact()
    joints = stored.arrays["rep0/joints_m"].copy()
    remeasure(stored, [joint("hip_lead", 1.0, (30, 5))])
    np.testing.assert_array_equal(stored.arrays["rep0/joints_m"], joints)


@pytest.mark.parametrize(
    "correction",
    [
        {"time_s": 1.0, "target": "event:top", "value": None},
        {"time_s": 1.0, "target": "event:top", "value": float("nan")},
        {"time_s": 1.0, "target": "joint:nose", "value": {"x": 0.5, "y": 0.5}},
        {"time_s": 1.0, "target": "joint:hip_lead", "value": {"x": 0.5}},
        {"time_s": 1.0, "target": "shaft", "value": {"grip": [0.1, 0.2]}},
        {"time_s": 1.0, "target": "else", "value": 1.0},
    ],
)
def test_what_is_not_understood_is_refused(correction: dict) -> None:
    with pytest.raises(ValueError, match=r"unknown target|does not fit|numbers only"):
        remeasure(make_artifact(), [correction])


def test_the_archive_comes_back_as_it_was_written(tmp_path: Path) -> None:
    stored = make_artifact()
    archive.save(stored, tmp_path / "a.npz")
    read = archive.load(tmp_path / "a.npz")
    assert remeasure(read, []) == remeasure(stored, [])
    assert not list(tmp_path.glob("*.part"))
    assert json.loads(json.dumps(read.meta))["artifact"] == archive.VERSION


def test_a_damaged_a_newer_and_a_missing_archive_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    with pytest.raises(MediaMissing):
        archive.load(path)
    path.write_bytes(b"PK not an archive")
    with pytest.raises(ValueError, match="not a measuring archive"):
        archive.load(path)
    newer = {"artifact": archive.VERSION + 1}
    np.savez(path, meta=np.frombuffer(json.dumps(newer).encode(), np.uint8))
    with pytest.raises(ValueError, match="version"):
        archive.load(path)


def test_a_refit_without_moved_events_is_the_archive_itself() -> None:
    stored = make_artifact()
    again = refit(stored, [joint("hip_trail", 1.0, (10, 0))], weights={})
    assert remeasure(again, []) == remeasure(stored, [])


def test_a_refit_reads_the_swing_again_and_marks_what_moved(tmp_path: Path) -> None:
    """With the real weights: landmarks are the joints, so only the path is tested."""
    stored = make_artifact()
    n = len(TIMES)
    landmarks = np.zeros((n, len(LANDMARK), 2))
    for name, k in LANDMARK.items():
        limb, _, side = name.rpartition("_")
        place = {"left": "lead", "right": "trail"}.get(side, "")
        known = f"{limb}_{place}" if f"{limb}_{place}" in JOINT else "head"
        known = "grip" if limb in ("pinky", "index", "thumb") else known
        landmarks[:, k] = stored.arrays["rep0/joints_px"][:, JOINT[known]]
    extra = {
        "rep0/landmarks_px": landmarks,
        "rep0/confidence": np.ones((n, len(LANDMARK))),
        "rep0/depth_px": np.zeros((n, len(LANDMARK))),
        "rep0/world_m": np.zeros((n, len(LANDMARK), 3)),
    }
    archived = Artifact(meta=stored.meta, arrays={**stored.arrays, **extra})
    moved = [{"time_s": 0.9, "target": "event:top", "value": 0.9}]
    again = refit(archived, moved, weights=weights.load("down_the_line"))
    archive.save(again, tmp_path / "again.npz")
    reps = remeasure(archive.load(tmp_path / "again.npz"), moved)
    assert reps[0]["events"]["top"]["time_s"] == 0.9
    assert reps[0]["events"]["top"]["source"] == "corrected"
    tempo = figures(reps)["backswing_s", "top"]
    assert (tempo["value"], tempo["source"]) == (pytest.approx(0.65), "corrected")
