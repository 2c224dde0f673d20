"""Spoken sound in one format that every browser plays. Loads PyAV: for the worker only."""

from __future__ import annotations

from pathlib import Path

import av

RATE_HZ = 48_000
BITS_PER_S = 64_000


def to_aac(source: Path, target: Path) -> float:
    """Write the sound of `source` as AAC in MP4, mono; returns its length in seconds.

    A recording that was cut off is kept up to its last whole piece.

    Raises
    ------
    ValueError
        When there is nothing to hear in it.
    """
    samples = 0
    with av.open(str(target), "w", format="mp4", options={"movflags": "+faststart"}) as out:
        stream = out.add_stream("aac", rate=RATE_HZ, layout="mono")
        stream.bit_rate = BITS_PER_S
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=RATE_HZ)
        for frame in _decoded(source):
            for part in resampler.resample(frame):
                part.pts = samples
                samples += part.samples
                out.mux(stream.encode(part))
        if samples == 0:
            raise ValueError("no sound in the recording")
        out.mux(stream.encode(None))
    return samples / RATE_HZ


def _decoded(source: Path):  # type: ignore[no-untyped-def]
    try:
        with av.open(str(source)) as container:
            if not container.streams.audio:
                return
            yield from container.decode(audio=0)
    except av.error.FFmpegError:
        return  # the end was lost with the connection; what came before it stays
