"""Lean of the camera from drawn surroundings of known lean."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from analysis.core.pose import LANDMARK
from analysis.scene import camera_lean

WIDTH, HEIGHT = 720, 1280
MIDDLE = (WIDTH / 2, HEIGHT / 2)


def golfer() -> np.ndarray:
    """Landmarks of a person of about 560 px in the middle of the picture."""
    xy = np.full((33, 2), 360.0)
    for part, y, apart in (
        ("nose", 420, 0), ("shoulder", 500, 40), ("wrist", 680, 10), ("hip", 680, 25),
        ("knee", 810, 30), ("ankle", 950, 40), ("heel", 960, 40), ("toe", 970, 45),
    ):  # fmt: skip
        for side, sign in (("left", 1), ("right", -1)):
            name = f"{part}_{side}" if part != "nose" else "nose"
            xy[LANDMARK[name]] = (360 + sign * apart, y)
    return xy


def texture(rng: np.random.Generator) -> np.ndarray:
    """Soft blotches like grass or plaster, without straight edges."""
    noise = rng.normal(0, 1, (HEIGHT * 2, WIDTH * 2)).astype(np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), 25)
    return 120 + 12 * soft / soft.std()


def leaning(picture: np.ndarray, degrees: float) -> np.ndarray:
    """The middle of a larger picture after upright things were made to lean to the right."""
    h, w = picture.shape
    turn = cv2.getRotationMatrix2D((w / 2, h / 2), -degrees, 1.0)
    turned = cv2.warpAffine(picture, turn, (w, h), borderMode=cv2.BORDER_REFLECT)
    top, left = (h - HEIGHT) // 2, (w - WIDTH) // 2
    return np.clip(turned[top : top + HEIGHT, left : left + WIDTH], 0, 255).astype(np.uint8)


def field(rng: np.random.Generator) -> np.ndarray:
    """Grass below, sky above; the edge lies at hip height of the golfer."""
    picture = texture(rng)
    picture[: HEIGHT // 2 + 700] += 70
    return picture


def wall(rng: np.random.Generator) -> np.ndarray:
    """A panelled wall: dark seams that stand upright."""
    picture = texture(rng)
    for x in range(60, 2 * WIDTH, 150):
        picture[300:2000, x : x + 4] -= 60
    return picture


@pytest.mark.parametrize("degrees", [-4.0, -1.0, 0.0, 0.5, 3.0])
@pytest.mark.parametrize("surroundings", [field, wall])
def test_lean_is_found_within_its_spread(surroundings, degrees: float) -> None:
    rng = np.random.default_rng(4)
    found = camera_lean(leaning(surroundings(rng), degrees), golfer=golfer())
    assert found is not None
    assert abs(found.roll_deg - degrees) < 2 * found.sd_deg
    assert found.sd_deg <= 0.5


def test_nothing_straight_tells_nothing() -> None:
    picture = leaning(texture(np.random.default_rng(1)), 0.0)
    assert camera_lean(picture, golfer=golfer()) is None


def test_the_golfers_own_club_and_legs_do_not_count() -> None:
    picture = leaning(texture(np.random.default_rng(2)), 0.0)
    for x in (320, 345, 375, 400):
        cv2.line(picture, (x, 520), (x + 40, 950), 20, 5)
    assert camera_lean(picture, golfer=golfer()) is None


def test_the_foot_of_a_wall_is_no_horizon() -> None:
    """A level-looking edge far below the camera's height runs off the level with the yaw."""
    picture = texture(np.random.default_rng(3))
    picture[: HEIGHT // 2 + 880] += 70  # a handbreadth above the golfer's feet
    assert camera_lean(leaning(picture, 2.0), golfer=golfer()) is None


def test_an_empty_picture_tells_nothing() -> None:
    grey = np.full((HEIGHT, WIDTH, 3), 128, np.uint8)
    assert camera_lean(grey, golfer=np.full((33, 2), np.nan)) is None
