"""What a camera writes beside a picture or clip is gone; the picture and the sound are not."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import av
import cv2
import pytest

from analysis import plain
from tests import shot

TOLD = (shot.DEVICE, shot.PLACE, shot.LATITUDE, b"Exif", b"EXIF", b"eXIf", b"loci")


def made_plain(folder: Path, ending: str, data: bytes) -> Path:
    given, made = folder / f"given{ending}", folder / f"made{ending}"
    given.write_bytes(data)
    plain.make_plain(given, made)
    return made


@pytest.mark.parametrize(
    ("ending", "shot_as", "size"),
    [
        (".jpg", shot.jpeg, (60, 40)),  # seen as the camera was held
        (".png", shot.png, (40, 60)),
        (".webp", shot.webp, (40, 60)),
    ],
)
def test_a_picture_keeps_no_place(
    tmp_path: Path, ending: str, shot_as: Callable[[], bytes], size: tuple[int, int]
) -> None:
    assert shot.LATITUDE in shot_as() and shot.DEVICE in shot_as()
    made = made_plain(tmp_path, ending, shot_as())
    assert [word for word in TOLD if word in made.read_bytes()] == []
    image = cv2.imread(str(made))
    assert image is not None and image.shape[:2] == size
    reddest = image[3, 30] if ending == ".jpg" else image[30, 3]
    assert reddest[2] > 200 and reddest[0] < 60


def test_a_large_picture_becomes_smaller(tmp_path: Path) -> None:
    import numpy as np

    big = bytes(cv2.imencode(".png", np.zeros((100, 3000, 4), np.uint8))[1])
    image = cv2.imread(str(made_plain(tmp_path, ".png", big)), cv2.IMREAD_UNCHANGED)
    assert image is not None and image.shape == (85, plain.LONGEST, 4)  # still see-through


@pytest.mark.parametrize("kind", ["mp4", "webm"])
def test_a_clip_keeps_picture_sound_and_turn_alone(tmp_path: Path, kind: str) -> None:
    data = shot.clip(kind)
    assert shot.DEVICE in data and shot.PLACE in data
    made = made_plain(tmp_path, f".{kind}", data)
    left = made.read_bytes()
    assert [word for word in (*TOLD, b"x264 - core") if word in left] == []
    with av.open(str(made)) as film:
        assert [stream.type for stream in film.streams] == ["video", "audio"]
        pictures = list(film.decode(video=0))
    assert len(pictures) == 12
    assert [round(float(p.pts * p.time_base), 2) for p in pictures[:2]] == [0.0, 0.03]
    assert pictures[0].rotation == (-90 if kind == "mp4" else 0)
    with av.open(str(made)) as film:
        assert sum(frame.samples for frame in film.decode(audio=0)) > 0.3 * 48_000


@pytest.mark.parametrize(
    ("ending", "data"),
    [
        (".jpg", b"film"),
        (".png", shot.png()[:60]),
        (".mp4", b"film"),
        (".mp4", b"#EXTM3U\nfile:///etc/passwd\n"),
        (".webm", b"ffconcat version 1.0\nfile /etc/passwd\n"),
        (".mp4", b""),
    ],
)
def test_what_cannot_be_read_is_refused(tmp_path: Path, ending: str, data: bytes) -> None:
    with pytest.raises(ValueError, match="can be read"):
        made_plain(tmp_path, ending, data)


def test_what_takes_too_long_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plain, "MOST_S", 0)
    with pytest.raises(ValueError, match="too long"):
        made_plain(tmp_path, ".jpg", shot.jpeg())
