"""The camera's motion found again in a drawn scene that was moved by a known amount."""

import cv2
import numpy as np
import pytest

from analysis.backdrop import Backdrop, held_still

SIZE = (480, 853)
GOLFER = np.array([[180.0, 250.0], [300.0, 800.0]])


def scene() -> np.ndarray:
    rough = np.random.default_rng(7).integers(60, 200, (107, 60), dtype=np.uint8)
    return cv2.GaussianBlur(cv2.resize(rough, SIZE, interpolation=cv2.INTER_CUBIC), (0, 0), 1.5)


def shaken(image: np.ndarray, turn_deg: float, shift: tuple[float, float]) -> np.ndarray:
    motion = cv2.getRotationMatrix2D((SIZE[0] / 2, SIZE[1] / 2), turn_deg, 1.0)
    motion[:, 2] += shift
    return cv2.warpAffine(image, motion, SIZE, borderMode=cv2.BORDER_REFLECT_101)


def test_a_turned_and_shifted_scene_is_put_back() -> None:
    backdrop, image = Backdrop(scene(), GOLFER), shaken(scene(), 0.6, (7.3, -4.6))
    place = backdrop.place(image)
    motion = cv2.getRotationMatrix2D((SIZE[0] / 2, SIZE[1] / 2), 0.6, 1.0)
    motion[:, 2] += 7.3, -4.6
    spots = np.array([[60.0, 60.0], [420.0, 800.0], [240.0, 500.0]])
    there = spots @ motion[:, :2].T + motion[:, 2]
    assert there @ place[:, :2].T + place[:, 2] == pytest.approx(spots, abs=0.15)
    again = held_still(image, place)
    assert np.abs(again[60:-60, 60:-60].astype(int) - scene()[60:-60, 60:-60]).mean() < 2


def test_a_golfer_who_moves_before_a_still_scene_moves_no_camera() -> None:
    first, later = scene(), scene()
    patch = np.random.default_rng(1).integers(0, 255, (300, 60), dtype=np.uint8)
    first[300:600, 200:260], later[300:600, 230:290] = patch, patch
    place = Backdrop(first, GOLFER).place(later)
    assert place == pytest.approx(np.array([[1, 0, 0], [0, 1, 0]]), abs=0.05)


def test_without_corners_or_in_another_scene_nothing_is_said() -> None:
    blank = np.full(SIZE[::-1], 128, np.uint8)
    assert np.isnan(Backdrop(blank, GOLFER).place(blank)).all()
    other = np.random.default_rng(8).integers(0, 255, SIZE[::-1], dtype=np.uint8)
    assert np.isnan(Backdrop(scene(), GOLFER).place(other)).all()
