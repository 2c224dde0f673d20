"""Grey frames that are decoded once and read again and again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analysis import frame_store
from analysis.core.pose import PoseSequence
from analysis.frame_store import FrameStore, Reel
from analysis.video import Frame, frames, probe
from tests.analysis.film import encode

WANTED = np.array([1, 4, 5])


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    rng = np.random.default_rng(3)
    rows = ((k / 30, rng.integers(0, 255, (64, 48, 3), dtype=np.uint8)) for k in range(8))
    return encode(tmp_path / "clip.mp4", rows)


def pose() -> PoseSequence:
    n = len(WANTED)
    return PoseSequence(WANTED / 30, WANTED, np.zeros((n, 33, 2)), np.ones((n, 33)), (48, 64))


def filled(clip: Path, store: FrameStore) -> None:
    kept = (frame_store.SHORT_SIDE, store.keep)
    assert len(list(frames(clip, probe(clip), wanted=WANTED, short_side=32, beside=kept))) == 3


@pytest.mark.parametrize("mirrored", [False, True])
def test_kept_frames_are_those_that_would_be_decoded(
    clip: Path, mirrored: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    again = list(Reel(clip, probe(clip), pose(), mirrored=mirrored))
    with FrameStore() as store:
        filled(clip, store)
        info = probe(clip)
        monkeypatch.setattr(frame_store, "frames", None)
        for _ in range(2):
            kept = list(Reel(clip, info, pose(), mirrored=mirrored, store=store))
            assert [f.index for f in kept] == [f.index for f in again] == WANTED.tolist()
            for one, other in zip(kept, again, strict=True):
                assert one.time_s == other.time_s
                assert np.array_equal(one.image, other.image)


def test_what_does_not_fit_is_decoded_anew(clip: Path) -> None:
    with FrameStore(most_bytes=2 * 48 * 64) as store:
        filled(clip, store)
        assert [index in store for index in WANTED] == [True, True, False]
        kept = list(Reel(clip, probe(clip), pose(), mirrored=False, store=store))
    assert [f.index for f in kept] == WANTED.tolist()


def test_a_frame_that_is_not_kept_is_missed() -> None:
    with FrameStore() as store:
        store.keep(Frame(3, 0.1, np.zeros((4, 4), np.uint8)))
        assert 3 in store and 2 not in store
        with pytest.raises(KeyError):
            store.get(2)
