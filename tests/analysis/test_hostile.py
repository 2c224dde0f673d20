"""Films made to hurt are refused in words; odd but good films are measured."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from analysis import video
from analysis.errors import UnreadableVideo, VideoTooLong
from tests.analysis import hostile


def test_a_pixel_aspect_of_a_thousand_is_no_film(tmp_path: Path) -> None:
    path = hostile.film(tmp_path / "wide.mp4", aspect=Fraction(1000, 1))
    with pytest.raises(UnreadableVideo, match="96000 x 160"):
        video.probe(path)


def test_more_pictures_than_any_camera_takes_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(video, "MAX_FRAMES", 20)
    path = hostile.film(tmp_path / "many.mp4", frames=21)
    with pytest.raises(VideoTooLong, match="more than 20"):
        video.probe(path)
    assert video.probe(hostile.film(tmp_path / "fewer.mp4", frames=20)).frames == 20


@pytest.mark.parametrize(
    ("name", "fmt", "options"),
    [
        ("a.ts", "mpegts", {"avoid_negative_ts": "disabled", "mpegts_copyts": "1"}),
        ("a.mp4", "mp4",
         {"avoid_negative_ts": "disabled", "movflags": "frag_keyframe+empty_moov+delay_moov"}),
        ("a.asf", "asf", {"avoid_negative_ts": "disabled"}),
        ("a.avi", "avi", {}),
    ],
)  # fmt: skip
def test_films_that_begin_before_zero_are_read_whole(
    tmp_path: Path, name: str, fmt: str, options: dict[str, str]
) -> None:
    path = hostile.film(tmp_path / name, fmt=fmt, options=options, frames=60, first=-15)
    info = video.probe(path)
    assert info.frames >= 59 and info.frame_times_s[0] == 0
    for wanted in (1, 20, 50):
        shown = list(video.frames(path, info, wanted=np.array([wanted])))
        assert [frame.index for frame in shown] == [wanted]
    made = video.make_copy(path, tmp_path / "copy.mp4")
    assert len(made["frame_times_s"]) == info.frames
    assert video.still(path, 1.0)


def test_hostile_files_are_held(tmp_path: Path) -> None:
    """The short form of the figure `hostile_files_held`."""
    paths = [make(tmp_path / name) for name, make in hostile.built() if "61000" not in name]
    source = hostile.SMALL.read_bytes()
    for seed in range(15):
        path = tmp_path / f"mutated-{seed}.mp4"
        path.write_bytes(hostile.mutated(source, seed=seed))
        paths.append(path)
    held, wrong = hostile.look_at(paths)
    assert wrong == [] and held == len(paths)
