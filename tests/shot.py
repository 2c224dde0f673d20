"""Pictures and clips as a phone writes them: with where, when and with what they were taken."""

from __future__ import annotations

import io
import struct
import zlib
from fractions import Fraction

import av
import cv2
import numpy as np

DEVICE = b"Phone of Sam Reed"
PLACE = b"+48.1374+011.5755/"
LATITUDE = struct.pack(">6I", 48, 1, 8, 1, 1464, 100)  # degrees, minutes, seconds
TURNED = 6  # the camera lay on its side


def notes() -> bytes:
    """EXIF: the device, how the picture is turned, and the place."""
    place_at = 8 + 2 + 3 * 12 + 4 + len(DEVICE) + 1
    latitude_at = place_at + 2 + 2 * 12 + 4
    first = struct.pack(">H", 3)
    first += struct.pack(">HHII", 0x010F, 2, len(DEVICE) + 1, 8 + 2 + 3 * 12 + 4)
    first += struct.pack(">HHIHH", 0x0112, 3, 1, TURNED, 0)
    first += struct.pack(">HHII", 0x8825, 4, 1, place_at) + bytes(4)
    place = struct.pack(">H", 2) + struct.pack(">HHI4s", 1, 2, 2, b"N\0\0\0")
    place += struct.pack(">HHII", 2, 5, 3, latitude_at) + bytes(4)
    return b"MM\0*" + struct.pack(">I", 8) + first + DEVICE + b"\0" + place + LATITUDE


def _drawn(ending: str) -> bytes:
    image = np.zeros((40, 60, 3), np.uint8)
    image[:, :20] = (0, 0, 255)  # its left third is red
    return bytes(cv2.imencode(ending, image)[1])


def jpeg() -> bytes:
    """60 by 40, to be seen as 40 by 60; another picture follows, as some phones write it."""
    plain, exif = _drawn(".jpg"), b"Exif\0\0" + notes()
    app1 = b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
    return plain[:2] + app1 + plain[2:] + plain[:2] + app1 + plain[2:]


def png() -> bytes:
    plain = _drawn(".png")
    chunks = ((b"tEXt", b"Location\0" + PLACE), (b"eXIf", notes()))
    extra = b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )
    return plain[:33] + extra + plain[33:]


def webp() -> bytes:
    plain, exif = _drawn(".webp"), notes()
    exif += b"\0" * (len(exif) % 2)
    canvas = struct.pack("<I", 8) + (59).to_bytes(3, "little") + (39).to_bytes(3, "little")
    body = b"WEBP" + b"VP8X" + struct.pack("<I", 10) + canvas + plain[12:]
    body += b"EXIF" + struct.pack("<I", len(exif)) + exif
    return b"RIFF" + struct.pack("<I", len(body)) + body


def clip(kind: str = "mp4", frames: int = 12) -> bytes:
    """A clip with sound, turned a quarter where it is MP4, with tags of every sort."""
    made = io.BytesIO()
    codec, sound = ("libx264", "aac") if kind == "mp4" else ("libvpx", "libopus")
    with av.open(made, "w", format=kind) as out:
        place, device = PLACE.decode(), DEVICE.decode()
        out.metadata.update(location=place, title=place, comment=device)
        stream = out.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        stream.metadata["handler_name"] = DEVICE.decode()
        heard = out.add_stream(sound, rate=48_000, layout="mono")
        for number in range(frames):
            image = np.full((48, 64, 3), 10 * number, np.uint8)
            picture = av.VideoFrame.from_ndarray(image)
            picture.pts, picture.time_base = number, Fraction(1, 30)
            out.mux(stream.encode(picture))
            quiet = av.AudioFrame.from_ndarray(
                np.zeros((1, 1600), np.float32), format="fltp", layout="mono"
            )
            quiet.sample_rate, quiet.pts = 48_000, number * 1600
            quiet.time_base = Fraction(1, 48_000)
            for part in av.AudioResampler(format=heard.codec_context.format).resample(quiet):
                out.mux(heard.encode(part))
        out.mux(stream.encode(None))
        out.mux(heard.encode(None))
    return _turned(made.getvalue()) if kind == "mp4" else made.getvalue()


def _turned(data: bytes) -> bytes:
    """The first track's matrix says a quarter turn."""
    at = data.index(b"tkhd") + 4 + 40
    quarter = struct.pack(">9i", 0, 1 << 16, 0, -(1 << 16), 0, 0, 0, 0, 1 << 30)
    return data[:at] + quarter + data[at + 36 :]
