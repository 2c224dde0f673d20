"""The archive that each measuring run leaves: everything figures can be recomputed from.

A compressed NumPy archive without pickles. `meta` is JSON; arrays of repetition k are
named `rep{k}/NAME`. A reader refuses a newer version than its own.
"""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.artifact import Artifact
from analysis.errors import MediaMissing

VERSION = 1


def save(artifact: Artifact, path: Path | str) -> None:
    """Write the archive, whole or not at all."""
    meta = json.dumps({**artifact.meta, "artifact": VERSION}, allow_nan=False)
    part = Path(path).with_name(Path(path).name + ".part")
    with part.open("wb") as out:
        arrays: dict[str, Any] = {"meta": np.frombuffer(meta.encode(), np.uint8)}
        np.savez_compressed(out, **(arrays | dict(artifact.arrays)))
    part.replace(path)


def load(path: Path | str) -> Artifact:
    """Read an archive.

    Raises
    ------
    MediaMissing
        When the file is not there.
    ValueError
        When it is damaged or newer than this reader.
    """
    try:
        with np.load(path, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
    except FileNotFoundError as error:
        raise MediaMissing(str(path)) from error
    except (zipfile.BadZipFile, OSError, ValueError) as error:
        raise ValueError(f"{Path(path).name} is not a measuring archive") from error
    meta = json.loads(bytes(arrays.pop("meta")).decode())
    if meta["artifact"] > VERSION:
        raise ValueError(f"archive version {meta['artifact']}; this reader knows {VERSION}")
    return Artifact(meta=meta, arrays=arrays)
