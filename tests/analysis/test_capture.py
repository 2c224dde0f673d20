"""What makes a clip unfit, told from people drawn by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from analysis.capture import MESSAGES, check_video, refused
from analysis.core.pose import LANDMARK, LANDMARKS, Capture
from analysis.estimators import Person
from analysis.survey import PART
from analysis.video import Frame
from tests.analysis.film import encode, pictures, sound_only
from tests.fakes import FakeEstimator

DEMO = Path(__file__).resolve().parents[2] / "coaching" / "demo" / "clips"
WIDTH, HEIGHT = 360, 640
Found = tuple[Frame, list[Person]]
# Where the landmarks of a right-hander at address lie: x from mid-feet, y up, in statures.
DOWN_THE_LINE = {
    "nose": (0.17, 0.83), "eye": (0.16, 0.85), "ear": (0.13, 0.85), "mouth": (0.17, 0.81),
    "shoulder": (0.10, 0.72), "elbow": (0.13, 0.56), "wrist": (0.16, 0.43), "pinky": (0.17, 0.40),
    "index": (0.17, 0.39), "thumb": (0.17, 0.40), "hip": (-0.06, 0.50), "knee": (0.04, 0.27),
    "ankle": (0.0, 0.04), "heel": (-0.03, 0.02), "toe": (0.11, 0.0),
}  # fmt: skip
SPREAD = {"shoulder": 0.10, "elbow": 0.10, "hip": 0.05, "knee": 0.08, "ankle": 0.09}


def golfer(
    *, stature_px: float = 260, view: str = "down_the_line", x: float = 180, feet_y: float = 600,
    facing: int = 1, breadth: float = 1.0,
) -> Person:  # fmt: skip
    """Somebody at address; `facing` -1 has the ball on the other side."""
    xy = np.zeros((len(LANDMARKS), 2))
    for name, k in LANDMARK.items():
        limb, _, side = name.rpartition("_")
        limb = limb if side in ("left", "right") else name
        across, up = DOWN_THE_LINE[limb.split("_")[0]]
        if view == "face_on":
            across = SPREAD.get(limb.split("_")[0], 0.02) * (1 if side == "left" else -1) * breadth
        xy[k] = x + facing * across * stature_px, feet_y - up * stature_px
    count = len(LANDMARKS)
    return Person(xy, np.zeros(count), np.full(count, 0.95), np.zeros((count, 3)))


class Shown(FakeEstimator):
    """An estimator that finds these people in every picture (in survey pixels)."""

    def __init__(self, *people: Person) -> None:
        self.people = list(people)

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        return sorted(self.people, key=lambda p: -p.height_px)


def scenery(seed: int = 0) -> np.ndarray:
    """A sharp background of boxes."""
    rng = np.random.default_rng(seed)
    image = np.full((HEIGHT, WIDTH, 3), 120, np.uint8)
    for _ in range(120):
        x, y = rng.integers(0, WIDTH), rng.integers(0, HEIGHT)
        colour = tuple(int(c) for c in rng.integers(40, 220, 3))
        cv2.rectangle(image, (x, y), (x + 25, y + 25), colour, -1)
    return image


def clip(path: Path, *, fps: float = 60, frames: int = 60, change=lambda image, k: image) -> Path:  # type: ignore[no-untyped-def]
    still = cv2.resize(scenery(), (2 * WIDTH, 2 * HEIGHT), interpolation=cv2.INTER_NEAREST)
    return encode(path, ((k / fps, change(still, k)) for k in range(frames)))


def capture(**told: object) -> Capture:
    usual = {"view": "down_the_line", "kind": "swing", "handedness": "right", "stature_cm": 180.0}
    return Capture(**usual | told)  # type: ignore[arg-type]


def at_scale(person: Person) -> Person:
    """From 360 px wide pictures to the survey's 480."""
    return Person(person.xy_px * 480 / WIDTH, person.depth_px, person.confidence, person.world_m)


def codes(path: Path, *people: Person, **told: object) -> dict[str, str]:
    network = Shown(*(at_scale(p) for p in people))
    found = check_video(path, capture=capture(**told), estimator=network)
    for row in found["quality"]:
        assert row["message"] == MESSAGES[row["code"]]
        assert row["frame"] is None or 0 <= row["frame"] < found["clip"]["frames"]
    assert refused(found["quality"]) == ("reject" in {r["level"] for r in found["quality"]})
    return {row["code"]: row["level"] for row in found["quality"]}


@pytest.fixture(scope="module")
def sharp(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return clip(tmp_path_factory.mktemp("films") / "sharp.mp4")


def test_a_good_clip_has_nothing_to_say(sharp: Path) -> None:
    assert codes(sharp, golfer()) == {}
    assert codes(sharp, golfer(view="face_on"), view="face_on") == {}
    assert codes(sharp, golfer(facing=-1), handedness="left") == {}


def test_nobody(sharp: Path) -> None:
    assert codes(sharp) == {"nobody": "reject"}


def test_somebody_else(sharp: Path) -> None:
    assert codes(sharp, golfer(x=120), golfer(x=280)) == {"several_people": "reject"}
    assert codes(sharp, golfer(), golfer(x=320, stature_px=130)) == {"several_people": "warn"}
    assert codes(sharp, golfer(), golfer(x=320, stature_px=60)) == {}, "far away"


class SeenBeside(Shown):
    """Finds the golfer alone in a whole picture, and somebody in what lies beside."""

    def __init__(self, tall: float) -> None:
        super().__init__(at_scale(golfer()))
        self.tall = tall

    def estimate(self, frames: Iterable[Frame], *, quick: bool) -> Iterator[Found]:
        for frame in frames:
            right = frame.index == PART and frame.image.shape[1] > 150
            there = [at_scale(golfer(stature_px=260 * self.tall))] if right else []
            yield frame, there if frame.index == PART else self.people


@pytest.mark.parametrize(
    ("tall", "told"), [(0.85, {"several_people": "warn"}), (0.55, {"several_people": "warn"}),
                       (0.3, {}), (0.95, {"several_people": "warn"})],
)  # fmt: skip
def test_somebody_whom_the_network_finds_only_beside_the_golfer_warns(
    sharp: Path, tall: float, told: dict[str, str]
) -> None:
    network = SeenBeside(tall)
    found = check_video(sharp, capture=capture(), estimator=network)
    assert {row["code"]: row["level"] for row in found["quality"]} == told
    assert codes(sharp, golfer(), golfer(x=184)) == {}, "the same body found twice"


def test_feet_or_head_outside(sharp: Path) -> None:
    assert codes(sharp, golfer(feet_y=690)) == {"body_cut": "reject"}
    assert codes(sharp, golfer(feet_y=180)) == {"body_cut": "reject"}
    for feet_y, edges in ((690, ["bottom"]), (180, ["top"])):
        network = Shown(at_scale(golfer(feet_y=feet_y)))
        (row,) = check_video(sharp, capture=capture(), estimator=network)["quality"]
        assert row["edges"] == edges


def test_too_far_away(sharp: Path) -> None:
    assert codes(sharp, golfer(stature_px=190)) == {"too_small": "warn"}
    assert codes(sharp, golfer(stature_px=110))["too_small"] == "reject"


def test_the_wrong_angle(sharp: Path) -> None:
    assert codes(sharp, golfer(view="face_on")) == {"wrong_view": "reject"}
    assert codes(sharp, golfer(), view="face_on") == {"wrong_view": "reject"}
    behind = golfer(view="face_on", breadth=-1.0)
    assert codes(sharp, behind, view="face_on") == {"wrong_view": "reject"}


def test_the_other_hand_or_a_mirrored_film(sharp: Path) -> None:
    assert codes(sharp, golfer(facing=-1)) == {"wrong_hand": "reject"}
    assert codes(sharp, golfer(), handedness="left") == {"wrong_hand": "reject"}


@pytest.mark.parametrize("view", ["rear", "overhead", "other"])
def test_other_angles_are_for_looking_and_never_wrong(sharp: Path, view: str) -> None:
    assert codes(sharp, golfer(view="face_on"), view=view) == {"view_not_measured": "ok"}


def test_light(tmp_path: Path) -> None:
    dim = clip(tmp_path / "dim.mp4", change=lambda image, k: (image * 0.25).astype(np.uint8))
    assert codes(dim, golfer()) == {"too_dark": "warn"}
    night = clip(tmp_path / "night.mp4", change=lambda image, k: (image * 0.08).astype(np.uint8))
    assert codes(night, golfer()) == {"too_dark": "reject"}
    assert codes(night) == {"too_dark": "reject"}, "nobody can be found in the dark"


def lying() -> Person:
    person = golfer()
    return replace(person, xy_px=person.xy_px[:, ::-1].copy())


def test_a_film_that_lies_on_its_side(sharp: Path) -> None:
    assert codes(sharp, lying()) == {"sideways": "reject"}


def test_from_above_nobody_lies_on_their_side(sharp: Path) -> None:
    assert "sideways" not in codes(sharp, lying(), view="overhead")


class Turned(Shown):
    """Finds somebody only in pictures that are wider than high."""

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        high, wide = frame.image.shape[:2]
        return self.people if wide > high else []


def test_a_film_that_lies_so_that_nobody_is_found_is_not_called_empty(sharp: Path) -> None:
    found = check_video(sharp, capture=capture(), estimator=Turned(golfer()))
    assert [(row["code"], row["level"]) for row in found["quality"]] == [("sideways", "reject")]


class Rarely(Shown):
    """Finds the golfer in one picture of four."""

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        return self.people if frame.index % 4 == 0 else []


def test_what_hides_a_golfer_comes_before_nobody(sharp: Path) -> None:
    for person, code in ((golfer(feet_y=690), "body_cut"), (golfer(stature_px=90), "too_small")):
        found = check_video(sharp, capture=capture(), estimator=Rarely(at_scale(person)))
        assert found["quality"][0]["code"] == code
        assert "nobody" not in {row["code"] for row in found["quality"]}


def test_nobody_in_a_blurred_film_is_called_blurred(tmp_path: Path) -> None:
    _, photo = next(pictures(DEMO / "baseline_dtl.mp4"))
    soft = clip(tmp_path / "s.mp4", change=lambda image, k: cv2.GaussianBlur(photo, (0, 0), 18))
    assert codes(soft) == {"blurred": "reject"}
    assert codes(clip(tmp_path / "e.mp4", change=lambda image, k: photo)) == {"nobody": "reject"}


def test_blur(tmp_path: Path) -> None:
    soft = clip(tmp_path / "soft.mp4", change=lambda image, k: cv2.GaussianBlur(image, (0, 0), 6))
    assert codes(soft, golfer())["blurred"] in ("warn", "reject")


def test_a_chat_copy_is_warned_of_not_refused(tmp_path: Path) -> None:
    small = clip(tmp_path / "chat.mp4", change=lambda image, k: cv2.resize(image, (WIDTH, HEIGHT)))
    network = Shown(golfer())
    found = check_video(small, capture=capture(), estimator=network)["quality"]
    assert [(row["code"], row["level"]) for row in found] == [("blurred", "warn")]


@pytest.mark.parametrize(
    ("fps", "kind", "level"),
    [(10, "swing", "reject"), (30, "swing", "warn"), (30, "hold", "warn"), (10, "setup", None)],
)
def test_frames_a_second(tmp_path: Path, fps: int, kind: str, level: str | None) -> None:
    path = clip(tmp_path / "slow.mp4", fps=fps, frames=20)
    assert codes(path, golfer(), kind=kind).get("low_rate") == level


def test_a_camera_that_moves(tmp_path: Path) -> None:
    def swaying(image: np.ndarray, k: int) -> np.ndarray:
        return np.roll(image, round(25 * np.sin(k / 8)), axis=1)

    def panning(image: np.ndarray, k: int) -> np.ndarray:
        return np.roll(image, -4 * k, axis=1)

    assert codes(clip(tmp_path / "s.mp4", change=swaying), golfer()) == {"camera_moves": "warn"}
    assert codes(clip(tmp_path / "p.mp4", change=panning), golfer()) == {"camera_moves": "reject"}


def test_files_that_are_no_film_are_an_answer_not_an_accident(tmp_path: Path) -> None:
    text = tmp_path / "text.mp4"
    text.write_bytes(b"a letter\n" * 50)
    for path, code in (
        (text, "unreadable"),
        (sound_only(tmp_path / "sound.m4a"), "unreadable"),
        (clip(tmp_path / "one.mp4", frames=1), "too_short"),
        (clip(tmp_path / "long.mp4", fps=0.2, frames=40), "too_long"),
    ):
        found = check_video(path, capture=capture(), estimator=Shown())
        assert found["clip"] is None
        assert [(r["code"], r["level"]) for r in found["quality"]] == [(code, "reject")]


def test_every_code_tells_what_to_do() -> None:
    """A sentence or two that end, one for each code of the contract."""
    contract = (
        "unreadable too_short too_long nobody several_people body_cut too_small too_dark blurred "
        "low_rate camera_moves wrong_view wrong_hand no_swing fewer_swings off_line slow_motion "
        "view_not_measured sideways"
    )
    assert set(MESSAGES) == set(contract.split())
    assert all(s.endswith(".") and len(s) < 140 for s in MESSAGES.values())
