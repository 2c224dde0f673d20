"""A walk-through's sound that was made to hurt."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from coaching.review import sound


def spoken(path: Path, *, seconds: float = 0.5) -> Path:
    rng = np.random.default_rng(0)
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=sound.RATE_HZ, layout="mono")
        for k in range(int(seconds * sound.RATE_HZ / 1024)):
            noise = rng.normal(0, 0.1, (1, 1024)).astype("f4")
            frame = av.AudioFrame.from_ndarray(noise, format="fltp", layout="mono")
            frame.rate, frame.pts = sound.RATE_HZ, k * 1024
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def test_what_was_spoken_is_heard(tmp_path: Path) -> None:
    heard = sound.to_aac(spoken(tmp_path / "own.mp4"), tmp_path / "out.m4a")
    assert heard == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize(
    "told",
    [
        "ffconcat version 1.0\nfile 'theirs.mp4'\n",
        "ffconcat version 1.0\nfile '{path}'\n",
        "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9.0,\nfile://{path}\n#EXT-X-ENDLIST\n",
        "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9.0,\ntheirs.mp4\n#EXT-X-ENDLIST\n",
        "<MPD><BaseURL>theirs.mp4</BaseURL></MPD>",
    ],
)
@pytest.mark.parametrize("name", ["own.webm", "own.m3u8"])
def test_a_list_of_other_files_opens_none_of_them(told: str, name: str, tmp_path: Path) -> None:
    theirs = spoken(tmp_path / "theirs.mp4")
    own = tmp_path / name
    own.write_text(told.format(path=theirs))
    with pytest.raises(ValueError, match="no sound"):
        sound.to_aac(own, tmp_path / "out.m4a")


def test_a_sound_without_end_is_kept_to_its_limit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sound, "LONGEST_S", 1)
    heard = sound.to_aac(spoken(tmp_path / "own.mp4", seconds=4), tmp_path / "out.m4a")
    assert heard == pytest.approx(1.0, abs=0.2)
