"""What a production server compresses once, so that phones wait less."""

from __future__ import annotations

import gzip
from pathlib import Path

import brotli

from coaching.static_files import StaticFiles


def test_each_text_is_compressed_both_ways_and_a_picture_is_not(tmp_path: Path) -> None:
    text = b"export const a = 1;\n" * 200
    (tmp_path / "a.js").write_bytes(text)
    (tmp_path / "a.png").write_bytes(text)
    packer = StaticFiles(location=tmp_path, base_url="/static/").create_compressor(quiet=True)
    packer.compress(str(tmp_path / "a.js"))
    assert brotli.decompress((tmp_path / "a.js.br").read_bytes()) == text
    assert gzip.decompress((tmp_path / "a.js.gz").read_bytes()) == text
    assert not packer.should_compress("a.png")
