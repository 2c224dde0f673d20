"""Spoken sound in one format that every browser plays. Loads PyAV: for the worker only."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av

RATE_HZ = 48_000
BITS_PER_S = 64_000
TOLERANCE_S = 0.25  # an encoder pads its first and last piece
LONGEST_S = 21 * 60  # a walk-through takes twenty minutes; a file of silence could take days
# A list of other files could make the reader open what is not the coach's: only what holds its
# own sound, only from the disk.
_OPEN = {
    "protocol_whitelist": "file",
    "format_whitelist": "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,ogg,wav,mp3,aac,flac",
}


def to_aac(source: Path, target: Path) -> float:
    """Write the sound of `source` as AAC in MP4, mono; returns the length of the file, seconds.

    A recording that was cut off is kept up to its last whole piece, a longer one up to
    `LONGEST_S`.

    Raises
    ------
    ValueError
        When there is nothing to hear in it.
    RuntimeError
        When what was written is not as long as what was read.
    """
    samples = 0
    with av.open(str(target), "w", format="mp4", options={"movflags": "+faststart"}) as out:
        stream = out.add_stream("aac", rate=RATE_HZ, layout="mono")
        stream.bit_rate = BITS_PER_S
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=RATE_HZ)
        for frame in _decoded(source):
            for part in resampler.resample(frame):
                part.pts, part.time_base = samples, Fraction(1, RATE_HZ)
                samples += part.samples
                out.mux(stream.encode(part))
            if samples >= LONGEST_S * RATE_HZ:
                break
        if samples == 0:
            raise ValueError("no sound in the recording")
        out.mux(stream.encode(None))
    length_s = length_of(target)
    if abs(length_s - samples / RATE_HZ) > TOLERANCE_S:
        raise RuntimeError(f"{samples / RATE_HZ:.2f} s were read, {length_s:.2f} s written")
    return length_s


def length_of(path: Path) -> float:
    """How long a player takes a file of sound to be, in seconds."""
    with av.open(str(path)) as container:
        return float((container.duration or 0) / av.time_base)


def _decoded(source: Path):  # type: ignore[no-untyped-def]
    try:
        with av.open(str(source), options=_OPEN) as container:
            if not container.streams.audio:
                return
            yield from container.decode(audio=0)
    except (av.error.FFmpegError, ValueError):
        return  # the end was lost with the connection; what came before it stays
