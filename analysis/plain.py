"""A picture or clip without what a camera writes beside it: place, device, time, names.

A picture is drawn anew. Of a clip the picture and the sound are taken over as they are, and
nothing else: no tags, no further tracks, no notes between the pictures. It happens in a child
process with limits, because the file may be anybody's: `python -m analysis.plain FROM TO`.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

PICTURES = frozenset({".jpg", ".jpeg", ".png", ".webp"})
FORMATS = {".mp4": "mp4", ".webm": "webm"}
LONGEST = 2560  # pixels of a picture's longer side, as it is kept
MOST_PIXELS = 50_000_000  # of a picture as it comes
MOST_S = 60  # seconds
MOST_BYTES = 2 * 1024**3  # of addresses
UNREADABLE = 3
# A list of other files could make the reader open what is not the sender's.
_OPEN = {"protocol_whitelist": "file", "format_whitelist": "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm"}
# Units of a stream that hold notes and no picture (SEI, metadata), where some cameras write.
_NOTES = {"h264": "6", "hevc": "39-40", "av1": "5"}


def make_plain(source: Path, target: Path) -> None:
    """Write `source` without its notes to `target`, whose ending says what it is.

    Raises
    ------
    ValueError
        When it is no picture or clip of this kind, or takes too long.
    """
    command = [sys.executable, "-m", __name__, str(source), str(target)]
    root = Path(__file__).parent.parent
    try:
        done = subprocess.run(command, cwd=root, timeout=MOST_S, capture_output=True, check=False)
    except subprocess.TimeoutExpired as error:
        raise ValueError("it takes too long") from error
    if done.returncode != 0:
        raise ValueError("no picture or clip that can be read")


def _picture(source: Path, target: Path) -> None:
    os.environ["OPENCV_IO_MAX_IMAGE_PIXELS"] = str(MOST_PIXELS)  # read when it is loaded
    import cv2
    import numpy as np

    data = source.read_bytes()
    # As it is seen: turned by the note that says how, which then goes. A see-through one is not.
    see_through = target.suffix in (".png", ".webp")
    image = cv2.imdecode(
        np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED if see_through else cv2.IMREAD_COLOR
    )
    if image is None:
        raise ValueError("this picture cannot be read")
    scale = min(1.0, LONGEST / max(image.shape[:2]))
    if scale < 1:
        image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    if not cv2.imwrite(str(target), image):
        raise ValueError("this picture cannot be kept")


def _clip(source: Path, target: Path) -> None:
    import av
    from av.bitstream import BitStreamFilterContext

    options = {"movflags": "+faststart", "fflags": "+bitexact"}
    kind = FORMATS[target.suffix]
    with (
        av.open(str(source), options=_OPEN) as given,
        av.open(str(target), "w", format=kind, options=options) as out,
    ):
        taken = [*given.streams.video[:1], *given.streams.audio[:1]]
        if not given.streams.video:
            raise ValueError("no picture in it")
        to, without = {}, {}
        for stream in taken:
            name = stream.codec_context.name
            to[stream.index] = made = out.add_stream_from_template(stream, opaque=True)
            if units := _NOTES.get(name):
                rule = f"filter_units=remove_types={units}"
                without[stream.index] = BitStreamFilterContext(rule, stream, made)
        count = 0
        for packet in given.demux(taken):
            if packet.dts is None:  # the end of a stream; the filter holds nothing back
                continue
            number = packet.stream.index
            for part in without[number].filter(packet) if number in without else [packet]:
                part.stream = to[number]
                out.mux(part)
                count += 1
        if count == 0:
            raise ValueError("nothing in it")


def main(source: Path, target: Path) -> int:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))
    os.nice(5)  # pages come first
    try:
        (_picture if target.suffix in PICTURES else _clip)(source, target)
    except Exception as error:  # noqa: BLE001  whatever a decoder raises: it is the file's fault
        print(type(error).__name__, error, file=sys.stderr)
        return UNREADABLE
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
