"""Files made to hurt, and files damaged at random: each is refused or measured, never worse."""

from __future__ import annotations

import random
import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "coaching" / "demo" / "clips" / "setup_heels_dtl.mp4"
MEMORY = 3 * 1024**3
TIME_S = 120


def film(
    path: Path,
    *,
    size: tuple[int, int] = (96, 160),
    frames: int = 30,
    rate: int = 30,
    first: int = 0,
    codec: str = "libx264",
    fmt: str | None = None,
    aspect: Fraction | None = None,
    pixels: str = "yuv420p",
    options: dict[str, str] | None = None,
) -> Path:
    """A film in which grey grows; `first` is the number of its first frame, perhaps below 0."""
    with av.open(str(path), "w", format=fmt, options=options or {}) as out:
        stream = out.add_stream(codec, rate=rate)
        stream.width, stream.height, stream.pix_fmt = size[0], size[1], pixels
        stream.codec_context.time_base = Fraction(1, rate)
        if aspect:
            stream.codec_context.sample_aspect_ratio = Fraction(2, 1)
        image = np.zeros((size[1], size[0], 3), np.uint8)
        for k in range(frames):
            image[: size[1] // 2] = k * 4 % 255
            picture = av.VideoFrame.from_ndarray(image, format="rgb24")
            picture.pts, picture.time_base = k + first, Fraction(1, rate)
            out.mux(stream.encode(picture))
        out.mux(stream.encode(None))
    if aspect:  # encoders refuse odd shapes; the file's own table does not
        told = b"pasp" + struct.pack(">II", aspect.numerator, aspect.denominator)
        data = path.read_bytes()
        at = data.index(b"pasp")
        path.write_bytes(data[:at] + told + data[at + len(told) :])
    return path


def built() -> Iterator[tuple[str, Callable[[Path], Path]]]:
    """Names and makers of files built to hurt."""
    for ratio in (Fraction(1000, 1), Fraction(1, 1000), Fraction(300, 1), Fraction(20, 1)):
        yield f"aspect-{ratio.numerator}-{ratio.denominator}.mp4", _film(aspect=ratio)
    for size in ((16, 4096), (4096, 16), (7680, 4320), (2, 2), (16, 16), (8190, 64)):
        yield f"size-{size[0]}x{size[1]}.mp4", _film(size=size, frames=3)
    for frames, rate in ((61_000, 1000), (2, 30), (1, 30), (90, 1), (400, 1)):
        yield f"frames-{frames}-at-{rate}.mp4", _film(frames=frames, rate=rate, size=(32, 48))
    for name, fmt in (("b.ts", "mpegts"), ("b.asf", "asf"), ("b.avi", "avi"), ("b.mkv", None)):
        yield f"cut-{name}", _cut(name, fmt)
    yield "many-streams.mp4", _streams
    yield "deep-boxes.mp4", lambda path: _bytes(path, b"\0\0\0\x08moov" * 200_000)
    yield "one-huge-box.mp4", lambda path: _bytes(path, b"\0\0\0\x01mdat" + b"\xff" * 64)
    yield "endless-ebml.webm", lambda path: _bytes(path, b"\x1aE\xdf\xa3\x01" + b"\xff" * 4096)
    yield "playlist.mp4", lambda path: _bytes(path, b"#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n")
    yield "script.mp4", lambda path: _bytes(path, b"ffconcat version 1.0\nfile '/etc/passwd'\n")
    yield "zeros.mp4", lambda path: _bytes(path, b"\0" * 1_000_000)
    yield "empty.mp4", lambda path: _bytes(path, b"")
    yield "text.mp4", lambda path: _bytes(path, b"this is no film" * 1000)
    yield "alpha.mov", _film(codec="qtrle", pixels="argb")
    yield "ten-bit.mkv", _film(codec="ffv1", pixels="yuv444p10le", frames=4)
    yield "picture.png", _film(codec="png", pixels="rgb24", fmt="image2", frames=1)


def _film(**told: object) -> Callable[[Path], Path]:
    return lambda path: film(path, **told)  # type: ignore[arg-type]


def _bytes(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def _cut(name: str, fmt: str | None) -> Callable[[Path], Path]:
    def make(path: Path) -> Path:
        film(path, fmt=fmt)
        return _bytes(path, path.read_bytes()[: path.stat().st_size * 2 // 3])

    return make


def _streams(path: Path) -> Path:
    with av.open(str(path), "w") as out:
        streams = [out.add_stream("libx264", rate=30) for _ in range(40)]
        for stream in streams:
            stream.width, stream.height, stream.pix_fmt = 16, 16, "yuv420p"
        picture = av.VideoFrame.from_ndarray(np.zeros((16, 16, 3), np.uint8), format="rgb24")
        for stream in streams:
            picture.pts = None
            out.mux(stream.encode(picture))
            out.mux(stream.encode(None))
    return path


def mutated(source: bytes, *, seed: int) -> bytes:
    """`source` with bytes changed, cut out, doubled or moved."""
    pick = random.Random(seed)
    data = bytearray(source)
    for _ in range(pick.choice([1, 3, 20, 200])):
        at = pick.randrange(len(data))
        head = at if pick.random() < 0.5 else pick.randrange(min(2000, len(data)))
        match pick.randrange(4):
            case 0:
                data[head] = pick.randrange(256)
            case 1:
                data[head : head + 4] = pick.choice(
                    [b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\x80\0\0\0"]
                )
            case 2:
                del data[at : at + pick.randrange(1, 200)]
            case 3:
                data[at:at] = data[head : head + pick.randrange(1, 200)]
        if len(data) < 16:
            break
    return bytes(data)


_LOOK = """
import resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, ({memory}, {memory}))
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
from analysis import capture, video
from analysis.core.pose import Capture
from analysis.errors import AnalysisError
from tests.fakes import FakeEstimator
def told(*of): pass
asked = Capture(view="down_the_line", kind="setup", handedness="right", stature_cm=178.0)
for line in sys.stdin:
    path = Path(line.strip())
    try:
        capture.check_video(path, capture=asked, estimator=FakeEstimator(), progress=told)
        copy = path.with_suffix(".copy.mp4")
        video.make_copy(path, copy)
        copy.unlink()
        print("held", path.name, flush=True)
    except AnalysisError as error:
        print("held", path.name, error.code, flush=True)
    except MemoryError:
        print("held", path.name, "memory", flush=True)
"""


def look_at(paths: list[Path]) -> tuple[int, list[str]]:
    """How many files were held, and what went wrong with the others.

    Each is opened as a worker does it, in a process with limited memory and time; a
    process that dies loses one file and the next begins.
    """
    held, wrong, left = 0, [], list(paths)
    while left:
        asked = "\n".join(map(str, left))
        try:
            done = subprocess.run(
                [sys.executable, "-c", _LOOK.format(memory=MEMORY)],
                input=asked,
                cwd=ROOT,
                capture_output=True,
                text=True,
                timeout=TIME_S + len(left),
                check=False,
            )
            out, trouble = done.stdout, done.stderr.strip()[-300:] or f"exit {done.returncode}"
        except subprocess.TimeoutExpired as late:
            out, trouble = (late.stdout or b"").decode(), "too slow"
        answered = [line for line in out.splitlines() if line.startswith("held ")]
        held += len(answered)
        if len(answered) < len(left):
            wrong.append(f"{left[len(answered)].name}: {trouble}")
        left = left[len(answered) + 1 :]
    return held, wrong
