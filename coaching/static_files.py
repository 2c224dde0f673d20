"""Static files of a production server: named by what is in them, and compressed once."""

from __future__ import annotations

from typing import Any

import brotli
from whitenoise.compress import Compressor
from whitenoise.storage import CompressedManifestStaticFilesStorage

QUALITY = 9  # the highest takes ten times as long at each `collectstatic`, for a tenth less


class Quick(Compressor):  # type: ignore[misc]  # the library ships no types
    @staticmethod
    def compress_brotli(data: bytes) -> bytes:
        return bytes(brotli.compress(data, quality=QUALITY, lgwin=24))


class StaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    def create_compressor(self, **how: Any) -> Compressor:
        return Quick(**how)
