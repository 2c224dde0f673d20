"""Files as phones, chats and browsers write them, and files that are no video."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from analysis import video
from analysis.errors import MediaMissing, UnreadableVideo, VideoTooLong, VideoTooShort
from tests.analysis.film import encode, sound_only, turned

CODECS = [
    ("clip.mp4", "libx264", "yuv420p"),
    ("clip.mov", "libx265", "yuv420p"),
    ("clip.mov", "libx265", "yuv420p10le"),
    ("clip.webm", "libvpx-vp9", "yuv420p"),
]


def picture(k: int, *, width: int = 96, height: int = 64) -> np.ndarray:
    """The number k in grey, and a white corner that tells which way is up."""
    image = np.full((height, width, 3), 20 + 2 * k, np.uint8)
    image[: height // 4, : width // 4] = 255
    return image


def film(path: Path, times: np.ndarray, **options: object) -> Path:
    return encode(path, ((float(t), picture(k)) for k, t in enumerate(times)), **options)  # type: ignore[arg-type]


@pytest.fixture
def uneven() -> np.ndarray:
    """Presentation times of a phone that drops frames."""
    return np.cumsum(np.random.default_rng(3).choice([1 / 60, 1 / 30, 1 / 24], 60)) - 1 / 60


def test_every_frame_keeps_its_own_time(tmp_path: Path, uneven: np.ndarray) -> None:
    path = film(tmp_path / "uneven.mp4", uneven)
    info = video.probe(path)
    np.testing.assert_allclose(info.frame_times_s, uneven - uneven[0], atol=2e-5)
    seen = [(f.index, f.time_s) for f in video.frames(path, info)]
    assert seen == list(enumerate(info.frame_times_s))


def test_the_first_displayed_frame_is_zero_wherever_the_file_starts(tmp_path: Path) -> None:
    path = film(tmp_path / "late.mp4", np.arange(20) / 30, start_s=1.5)
    assert video.probe(path).frame_times_s[0] == 0.0


def test_wanted_frames_are_those_of_their_index_after_a_seek(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", np.arange(100) / 60, gop=15, crf=1)
    info = video.probe(path)
    wanted = np.array([37, 38, 61, 99])
    found = {f.index: f.image[-1, -1].mean() for f in video.frames(path, info, wanted=wanted)}
    assert list(found) == wanted.tolist()
    for index, grey in found.items():
        assert grey == pytest.approx(20 + 2 * index, abs=2)


@pytest.mark.parametrize(("name", "codec", "pix_fmt"), CODECS)
def test_codecs_become_eight_bits(tmp_path: Path, name: str, codec: str, pix_fmt: str) -> None:
    path = film(tmp_path / name, np.arange(12) / 30, codec=codec, pix_fmt=pix_fmt)
    info = video.probe(path)
    assert (info.width, info.height, info.frames) == (96, 64, 12)
    first = next(video.frames(path, info))
    assert first.image.dtype == np.uint8 and first.image.shape == (64, 96, 3)
    assert first.image[4, 4].mean() > 230 > first.image[-4, -4].mean()
    copy = video.make_copy(path, tmp_path / "copy.mp4")
    assert len(copy["frame_times_s"]) == 12


@pytest.mark.parametrize("clockwise", [90, 180, 270])
def test_the_rotation_tag_is_applied(tmp_path: Path, clockwise: int) -> None:
    stored = [(k / 30, turned(picture(k), -clockwise % 360)) for k in range(10)]
    path = encode(tmp_path / "turned.mp4", stored, rotation=clockwise)
    info = video.probe(path)
    assert (info.width, info.height, info.rotation) == (96, 64, clockwise)
    upright = next(video.frames(path, info)).image
    assert upright[4, 4].mean() > 230 > upright[-4, -4].mean()
    facts = video.make_copy(path, tmp_path / "copy.mp4")
    assert (facts["width"], facts["height"], facts["rotation"]) == (96, 64, 0)
    copy = video.probe(tmp_path / "copy.mp4")
    assert copy.rotation == 0
    assert next(video.frames(tmp_path / "copy.mp4", copy)).image[4, 4].mean() > 230


def test_pictures_are_whole_lines_whatever_their_width(tmp_path: Path) -> None:
    """The pose network reads the bytes in one piece."""
    path = encode(tmp_path / "odd.mp4", [(k / 30, picture(k, width=90)) for k in range(3)])
    info = video.probe(path)
    for mirrored in (False, True):
        frame = next(video.frames(path, info, mirrored=mirrored))
        assert frame.image.flags["C_CONTIGUOUS"]


def test_our_copy_keeps_times_and_leaves_place_and_device(
    tmp_path: Path, uneven: np.ndarray
) -> None:
    tags = {"location": "+10.0000+020.0000/", "make": "A phone", "title": "mine"}
    path = film(tmp_path / "phone.mp4", uneven, metadata=tags)
    told: list[float] = []
    facts = video.make_copy(
        path, tmp_path / "copy.mp4", progress=lambda _, share: told.append(share)
    )
    np.testing.assert_allclose(facts["frame_times_s"], uneven - uneven[0], atol=2e-5)
    np.testing.assert_allclose(
        video.probe(tmp_path / "copy.mp4").frame_times_s, facts["frame_times_s"], atol=2e-5
    )
    assert told[-1] == 1.0 and told == sorted(told)
    with av.open(str(tmp_path / "copy.mp4")) as copy:
        kept = {**copy.metadata, **copy.streams.video[0].metadata}
        assert not {"location", "location-eng", "make", "title"} & set(kept)
        stream = copy.streams.video[0]
        assert (stream.codec_context.name, stream.codec_context.pix_fmt) == ("h264", "yuv420p")
        keys = [p.pts for p in copy.demux(stream) if p.is_keyframe and p.size]
        assert len(keys) >= len(uneven) // 15
    data = (tmp_path / "copy.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat"), "a player must find the index first"
    assert b"A phone" not in data


def test_the_copy_of_a_big_picture_has_a_short_side_of_720(tmp_path: Path) -> None:
    path = encode(
        tmp_path / "4k.mp4", [(k / 30, picture(k, width=3840, height=2160)) for k in (0, 1)]
    )
    facts = video.make_copy(path, tmp_path / "copy.mp4")
    assert (facts["width"], facts["height"]) == (1280, 720)


def test_the_still_is_the_frame_on_show_at_that_time(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", np.arange(30) / 30, crf=1)
    jpeg = video.still(path, time_s=0.51)
    (tmp_path / "still.jpg").write_bytes(jpeg)
    with av.open(str(tmp_path / "still.jpg")) as image:
        grey = next(image.decode(video=0)).to_ndarray(format="rgb24")[-1, -1].mean()
    assert grey == pytest.approx(20 + 2 * 15, abs=3)


def test_a_truncated_film_is_used_as_far_as_it_goes(tmp_path: Path) -> None:
    film(tmp_path / "whole.mp4", np.arange(90) / 30)
    video.make_copy(tmp_path / "whole.mp4", tmp_path / "index_first.mp4")
    data = (tmp_path / "index_first.mp4").read_bytes()
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(data[: data.index(b"mdat") + (len(data) - data.index(b"mdat")) // 2])
    info = video.probe(cut)
    shown = [f.index for f in video.frames(cut, info)]
    assert 2 <= len(shown) < 90
    assert len(video.make_copy(cut, tmp_path / "copy.mp4")["frame_times_s"]) == len(shown)


def test_what_is_no_video_says_so(tmp_path: Path) -> None:
    whole = film(tmp_path / "whole.mp4", np.arange(30) / 30).read_bytes()
    bad = {
        "empty": b"",
        "text": b"not a film\n" * 200,
        "no index": whole[: len(whole) // 2],
        "playlist": b"#EXTM3U\n#EXTINF:1,\n" + str(tmp_path / "whole.mp4").encode() + b"\n",
        "script": b"ffconcat version 1.0\nfile '" + str(tmp_path / "whole.mp4").encode() + b"'\n",
        "zeros": bytes(100_000),
    }
    for name, data in bad.items():
        path = tmp_path / "bad.mp4"
        path.write_bytes(data)
        try:
            video.probe(path)
        except UnreadableVideo:
            continue
        pytest.fail(name)
    with pytest.raises(UnreadableVideo):
        video.probe(sound_only(tmp_path / "sound.m4a"))
    with pytest.raises(MediaMissing):
        video.probe(tmp_path / "nowhere.mp4")


def test_a_picture_and_a_single_frame_are_too_short(tmp_path: Path) -> None:
    film(tmp_path / "clip.mp4", np.arange(5) / 30)
    jpeg = tmp_path / "picture.mp4"
    jpeg.write_bytes(video.still(tmp_path / "clip.mp4", 0.0))
    for path in (jpeg, film(tmp_path / "one.mp4", np.zeros(1))):
        with pytest.raises(VideoTooShort):
            video.probe(path)


def test_more_than_three_minutes_is_refused_by_the_index_alone(tmp_path: Path) -> None:
    path = film(tmp_path / "long.mp4", np.arange(40) * 5.0)
    with pytest.raises(VideoTooLong):
        video.probe(path)


def test_a_small_file_that_announces_huge_pictures_is_refused(tmp_path: Path) -> None:
    path = encode(
        tmp_path / "huge.mp4", [(k / 30, picture(k, width=8192, height=5120)) for k in (0, 1)]
    )
    with pytest.raises(UnreadableVideo, match="too big"):
        video.probe(path)
