"""Build the pose models: `python -m analysis.build_models [FOLDER]`, `var/models` by default.

The pose landmarker reads a `.task` bundle: a stored zip of a person detector and a landmark
network, each told how its input picture is normalised. The npm package `@mediapipe/pose`
(Apache-2.0) ships the networks bare. This module adds the metadata, packs them with fixed dates,
and keeps a bundle only when its SHA-256 sum is the one below.
"""

import argparse
import hashlib
import io
import os
import sys
import types
import zipfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
NPM_PACKAGE = ROOT / "node_modules" / "@mediapipe" / "pose"
SHA256 = {
    "heavy": "b0ad2868fd24c2960e22392d68759d38e6f9baa0e3959e3b45ea0468e76d5d94",
    "full": "ef0f88c45c5ef719d750a6e1ff966d0dfa61862e913370b101fc9055d61ba27b",
    "lite": "1220de0beff18bcc63405726f9d06fe89d926c9feea5f60ea560eda39c533977",
}

DETECTOR_FILE = "pose_solution_packed_assets.data"  # This "data" file is the detector itself.
DETECTOR_MEAN_STD = (127.5, 127.5)  # Of the 8-bit picture: network input = (value - mean) / std.
LANDMARKS_MEAN_STD = (0.0, 255.0)

_ALIGNMENT = 4  # The networks are mapped straight from the bundle.
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)
_METADATA_PARSER = "1.0.0"


class BuildError(Exception):
    """A model could not be built; the message says what to do."""


def build_models(folder: Path, *, package: Path = NPM_PACKAGE) -> list[Path]:
    """Write `pose_heavy.task`, `pose_full.task` and `pose_lite.task` and return those written.

    A bundle that is already there with the right sum is left alone.

    Raises
    ------
    BuildError
        The npm package is missing, or a bundle came out with another sum.
    """
    wanted = {name: folder / f"pose_{name}.task" for name in SHA256}
    missing = {name: path for name, path in wanted.items() if not is_good(name, path)}
    if not missing:
        return []
    _import_metadata_writer()
    detector = _with_metadata(_read(package / DETECTOR_FILE), "PoseDetector", DETECTOR_MEAN_STD)
    folder.mkdir(parents=True, exist_ok=True)
    for name, path in missing.items():
        network = _read(package / f"pose_landmark_{name}.tflite")
        landmarks = _with_metadata(network, "PoseLandmarks", LANDMARKS_MEAN_STD)
        _store(name, path, _pack(detector=detector, landmarks=landmarks))
    return list(missing.values())


def is_good(name: str, path: Path) -> bool:
    """Whether `path` holds the bundle `name` with the committed sum."""
    return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == SHA256[name]


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise BuildError(f"{path} is missing: run `make setup`, which installs it.") from None


def _store(name: str, path: Path, bundle: bytes) -> None:
    found = hashlib.sha256(bundle).hexdigest()
    if found != SHA256[name]:
        raise BuildError(
            f"The {name} pose model came out with SHA-256 {found}, expected {SHA256[name]}: "
            "install the locked versions with `make setup`."
        )
    partial = path.with_suffix(f".{os.getpid()}.part")
    partial.write_bytes(bundle)
    partial.replace(path)


def _with_metadata(network: bytes, name: str, mean_std: tuple[float, float]) -> bytes:
    schema, metadata_writer = _import_metadata_writer()
    mean, std = mean_std
    writer = metadata_writer.MetadataWriter.create(bytearray(network))
    writer.add_general_info(name)
    writer.add_image_input([mean], [std])
    for index in range(schema.Model.GetRootAsModel(network, 0).Subgraphs(0).OutputsLength()):
        writer.add_feature_output(f"output_{index}")
    model, _ = writer.populate()
    return bytes(model)


def _import_metadata_writer() -> tuple[Any, Any]:
    """Mediapipe's schema and metadata writer.

    The writer asks a compiled module, which the wheel leaves out, for a version: put one in place.
    Import before there is a writer: the import keeps the frames that called it, and a writer kept
    to the interpreter's end prints a traceback.
    """
    package = "mediapipe.tasks.cc.metadata.python"
    module: Any = types.ModuleType(f"{package}._pywrap_metadata_version")
    module.GetMinimumMetadataParserVersion = lambda _: _METADATA_PARSER
    for parent in ("mediapipe.tasks.cc", "mediapipe.tasks.cc.metadata", package):
        sys.modules.setdefault(parent, types.ModuleType(parent))
    sys.modules.setdefault(module.__name__, module)
    vars(sys.modules[package]).setdefault("_pywrap_metadata_version", module)

    from mediapipe.tasks.metadata import schema_py_generated
    from mediapipe.tasks.python.metadata.metadata_writers import metadata_writer

    return schema_py_generated, metadata_writer


def _pack(*, detector: bytes, landmarks: bytes) -> bytes:
    from mediapipe.tasks.python.metadata.metadata_writers import model_asset_bundle_utils

    buffer = io.BytesIO()
    with model_asset_bundle_utils.AlignZipFile(buffer, mode="w", alignment=_ALIGNMENT) as bundle:
        bundle.writestr(zipfile.ZipInfo("pose_detector.tflite", _FIXED_DATE), detector)
        bundle.writestr(zipfile.ZipInfo("pose_landmarks_detector.tflite", _FIXED_DATE), landmarks)
    return buffer.getvalue()


def main() -> int:
    parser = argparse.ArgumentParser(description="Build the pose models from the npm package.")
    parser.add_argument("folder", nargs="?", type=Path, default=ROOT / "var" / "models")
    try:
        written = build_models(parser.parse_args().folder)
    except BuildError as error:
        print(error, file=sys.stderr)
        return 1
    for path in written:
        print(f"built {path}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
