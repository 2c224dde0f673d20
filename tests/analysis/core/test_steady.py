"""Points through known motions of a camera: there, back, mirrored, bridged."""

import numpy as np
import pytest

from analysis.core.steady import STILL, bridged, flipped, moved, scaled, undone

TIMES = np.arange(5) / 10


def swaying() -> np.ndarray:
    """A turn and a shift that grow frame by frame."""
    out = []
    for k in range(len(TIMES)):
        a = np.radians(0.4 * k)
        out.append([[np.cos(a), np.sin(a), 3.0 * k], [-np.sin(a), np.cos(a), -2.0 * k]])
    return np.array(out)


def points() -> np.ndarray:
    return np.random.default_rng(3).uniform(0, 700, (len(TIMES), 4, 2))


def test_a_shift_moves_every_point_of_its_frame() -> None:
    shift = np.tile(STILL, (5, 1, 1))
    shift[2, :, 2] = 7.0, -4.0
    out = moved(points(), shift) - points()
    assert out[2] == pytest.approx(np.tile([7.0, -4.0], (4, 1)))
    assert not out[[0, 1, 3, 4]].any()


def test_back_in_their_own_frames_points_lie_where_they_were() -> None:
    assert moved(moved(points(), swaying()), undone(swaying())) == pytest.approx(points())


def test_mirrored_pictures_move_as_mirrors_do() -> None:
    def mirror(xy: np.ndarray) -> np.ndarray:
        return np.stack([720 - xy[..., 0], xy[..., 1]], axis=-1)

    there = moved(mirror(points()), flipped(swaying(), width_px=720))
    assert there == pytest.approx(mirror(moved(points(), swaying())))


def test_in_pictures_twice_as_large_points_move_twice_as_far() -> None:
    assert moved(2 * points(), scaled(swaying(), 2)) == pytest.approx(
        2 * moved(points(), swaying())
    )


def test_a_lost_frame_lies_between_its_neighbours_and_nothing_known_is_still() -> None:
    lost = np.tile(STILL, (5, 1, 1))
    lost[:, 0, 2] = 10 * TIMES
    lost[2] = np.nan
    assert bridged(TIMES, lost)[2, 0, 2] == pytest.approx(2.0)
    assert (bridged(TIMES, np.full((5, 2, 3), np.nan)) == STILL).all()
