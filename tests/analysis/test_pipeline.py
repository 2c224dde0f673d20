"""The pipeline around the network: who is measured, what is withheld, what is left behind."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from analysis import artifact
from analysis.core.artifact import Artifact
from analysis.core.pose import LANDMARK, Capture, Moment
from analysis.core.remeasure import remeasure
from analysis.estimators import Person
from analysis.pipeline import _stretched, analyse_video
from analysis.video import Frame, probe
from tests.analysis.film import encode
from tests.analysis.test_capture import HEIGHT, WIDTH, capture, golfer, scenery
from tests.fakes import FakeEstimator


class Acted(FakeEstimator):
    """An estimator whose golfer does as told: `pose(time_s)` in pictures 360 wide."""

    def __init__(self, pose) -> None:  # type: ignore[no-untyped-def]
        self.pose = pose
        self.looked: dict[bool, list[int]] = {True: [], False: []}

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        self.looked[quick].append(frame.index)
        person = self.pose(frame.time_s)
        xy = person.xy_px * (frame.image.shape[1] / WIDTH)
        return [Person(xy, person.depth_px, person.confidence, person.world_m)]


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("films") / "six_seconds.mp4"
    still = np.repeat(np.repeat(scenery(), 2, axis=0), 2, axis=1)
    assert still.shape[:2] == (2 * HEIGHT, 2 * WIDTH)
    return encode(path, ((k / 60, still) for k in range(360)))


def standing(time_s: float) -> Person:
    return golfer()


def bystander(time_s: float) -> Person:
    """Arms hanging at the sides."""
    person = golfer()
    for side, sign in (("left", 1), ("right", -1)):
        for joint in ("wrist", "pinky", "index", "thumb"):
            person.xy_px[LANDMARK[f"{joint}_{side}"], 0] = 180 + sign * 60
    return person


def swinging(time_s: float) -> Person:
    """Hands up from 2.0 s to the top at 2.8, down by 3.05, up to the finish."""
    person = golfer()
    keys = [2.0, 2.8, 3.05, 3.5]
    lift = 260 * float(np.interp(time_s, keys, [0.0, 0.42, 0.0, 0.42]))
    for side in ("left", "right"):
        for joint in ("wrist", "pinky", "index", "thumb"):
            person.xy_px[LANDMARK[f"{joint}_{side}"], 1] -= lift
            person.xy_px[LANDMARK[f"{joint}_{side}"], 0] -= 0.2 * lift
        person.xy_px[LANDMARK[f"elbow_{side}"], 1] -= 0.4 * lift
    return person


def test_somebody_at_address_who_never_swings_has_an_address_only(film: Path) -> None:
    result = analyse_video(film, capture=capture(), estimator=Acted(standing))
    assert [(q["code"], q["level"]) for q in result["quality"]] == [("no_swing", "warn")]
    (rep,) = result["reps"]
    assert [e for e, row in rep["events"].items() if row["time_s"] is not None] == ["address"]
    assert rep["events"]["top"]["reason"] == "no_swing"
    told = {m["event"] for m in rep["measures"] if m["value"] is not None}
    assert told <= {"address"}


class PassedBefore(Acted):
    """Somebody as tall passes between 2.9 and 3.6 s, `tall` of the golfer's height."""

    def __init__(self, pose, tall: float) -> None:  # type: ignore[no-untyped-def]
        super().__init__(pose)
        self.tall = tall

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        people = super().people_in(frame, quick=quick)
        if not 2.9 < frame.time_s < 3.6:
            return people
        passer = golfer(x=300, stature_px=260 * self.tall)
        xy = passer.xy_px * (frame.image.shape[1] / WIDTH)
        return [*people, Person(xy, passer.depth_px, passer.confidence, passer.world_m)]


@pytest.mark.parametrize(("tall", "before"), [(0.95, ["several_people"]), (0.5, [])])
def test_a_swing_hidden_by_somebody_who_passed_says_so_first(
    film: Path, tall: float, before: list[str]
) -> None:
    result = analyse_video(film, capture=capture(), estimator=PassedBefore(standing, tall))
    told = [q["code"] for q in result["quality"]]
    assert told == [*before, "no_swing"]
    assert all(q["level"] == "warn" for q in result["quality"])
    if before:
        assert 2.9 < result["quality"][0]["time_s"] < 3.6


def test_a_bystander_has_no_repetition(film: Path) -> None:
    result = analyse_video(film, capture=capture(), estimator=Acted(bystander))
    assert [(q["code"], q["level"]) for q in result["quality"]] == [("no_swing", "warn")]
    assert result["reps"] == []


def test_a_swing_is_found_and_only_its_frames_get_the_heavy_network(
    film: Path, tmp_path: Path
) -> None:
    network = Acted(swinging)
    told: list[tuple[str, float]] = []
    kept: list[Artifact] = []
    result = analyse_video(
        film,
        capture=capture(repetitions=1),
        estimator=network,
        progress=lambda *step: told.append(step),
        artifact_path=tmp_path / "a.npz",
        keep=kept.append,
    )
    (rep,) = result["reps"]
    assert rep["events"]["top"]["time_s"] == pytest.approx(2.8, abs=0.05)
    assert rep["events"]["impact"]["time_s"] == pytest.approx(3.05, abs=0.05)
    assert len(network.looked[False]) < 0.6 * 360
    fast = [i for i in network.looked[False] if 2.85 < i / 60 < 3.0]
    assert fast == list(range(fast[0], fast[-1] + 1)), "every frame where it is fast"
    shares = [share for _, share in told]
    assert shares == sorted(shares) and shares[-1] == 1.0
    stored = artifact.load(tmp_path / "a.npz")
    assert remeasure(stored, []) == result["reps"]
    assert remeasure(kept[0], []) == result["reps"], "what is handed over is what was stored"
    assert stored.meta == {**json.loads(json.dumps(kept[0].meta)), "artifact": artifact.VERSION}
    assert stored.arrays.keys() == kept[0].arrays.keys()
    for name, values in stored.arrays.items():
        np.testing.assert_array_equal(values, kept[0].arrays[name])


def test_swings_that_were_asked_for_and_are_not_there_are_missed(film: Path) -> None:
    result = analyse_video(film, capture=capture(repetitions=2), estimator=Acted(swinging))
    assert len(result["reps"]) == 1
    assert "fewer_swings" in {q["code"] for q in result["quality"]}


def test_an_angle_for_looking_is_checked_and_not_measured(film: Path, tmp_path: Path) -> None:
    network = Acted(standing)
    result = analyse_video(
        film,
        capture=capture(view="rear"),
        estimator=network,
        artifact_path=tmp_path / "a.npz",
    )
    assert result["reps"] == [] and network.looked[False] == []
    assert not (tmp_path / "a.npz").exists()


def test_a_refused_clip_is_looked_at_twice_and_not_measured(film: Path) -> None:
    network = Acted(lambda time_s: golfer(view="face_on"))
    result = analyse_video(film, capture=capture(), estimator=network)
    assert result["reps"] == [] and 0 < len(network.looked[False]) < 30
    assert not set(network.looked[False]) <= set(network.looked[True])
    assert result["quality"][0]["code"] == "wrong_view"


def test_a_refused_clip_that_a_person_says_is_right_is_measured(film: Path) -> None:
    told = capture(handedness="left")
    assert analyse_video(film, capture=told, estimator=Acted(swinging))["reps"] == []
    result = analyse_video(film, capture=told, estimator=Acted(swinging), insisted=True)
    assert len(result["reps"]) == 1
    assert ("wrong_hand", "warn") in {(q["code"], q["level"]) for q in result["quality"]}


class Better(Acted):
    """The quick network sees another golfer than the heavy one."""

    def __init__(self, quick, heavy) -> None:  # type: ignore[no-untyped-def]
        super().__init__(quick)
        self.heavy = heavy

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        self.pose, first = (self.pose if quick else self.heavy), self.pose
        try:
            return super().people_in(frame, quick=quick) if self.pose(frame.time_s) else []
        finally:
            self.pose = first


def test_a_refusal_that_the_second_look_does_not_share_is_a_warning(film: Path) -> None:
    network = Better(lambda time_s: golfer(view="face_on"), swinging)
    result = analyse_video(film, capture=capture(), estimator=network)
    assert ("wrong_view", "warn") in {(q["code"], q["level"]) for q in result["quality"]}


def test_a_golfer_whom_only_the_heavy_network_sees_is_measured(film: Path) -> None:
    network = Better(lambda time_s: None, swinging)
    result = analyse_video(film, capture=capture(), estimator=network)
    assert result["quality"] == [] and len(result["reps"]) == 1


def test_a_swing_that_the_quick_network_misses_is_found_by_the_second_look(film: Path) -> None:
    network = Better(standing, swinging)
    result = analyse_video(film, capture=capture(), estimator=network)
    assert result["quality"] == []
    (rep,) = result["reps"]
    assert rep["events"]["impact"]["time_s"] == pytest.approx(3.05, abs=0.05)


@pytest.mark.parametrize(
    ("kind", "downswing_s", "expected"),
    [
        ("swing", 0.25, False),
        ("swing", 0.7, False),
        ("swing", 2.0, True),
        ("rehearsal", 2.0, False),
    ],
)
def test_slow_motion_is_told_by_a_downswing_nobody_makes(
    film: Path, kind: str, downswing_s: float, expected: bool
) -> None:
    events = {"top": Moment(2.0, 0.01), "impact": Moment(2.0 + downswing_s, 0.01)}
    told = Capture("down_the_line", kind, "right", 180.0)
    assert _stretched(probe(film), events, told) is expected


def test_slow_motion_is_told_by_what_the_phone_wrote(tmp_path: Path) -> None:
    tags = {"com.android.capture.fps": "240"}
    image = scenery()
    path = encode(tmp_path / "slow.mkv", ((k / 30, image) for k in range(10)), metadata=tags)
    info = probe(path)
    assert info.capture_fps == 240.0
    assert _stretched(info, {}, capture())
