"""The camera in the page, on rendered golfers: does it judge, start and count as a person would?

Films are made from the clips in SHARED/clips (or the demo's) by changing their pictures: the
golfer cut off, near, far, the phone tilted, sideways, in the dark, on another side, nobody, a
golfer who walks. The phone's own small network reads them; the page's own modules judge.

framing_right_share: of all films, the one sentence is the right one. false_good_share: of the
films that are not good, "good" was said. selfstart_right_share: it starts in good films and in
no other. reps_counted_right: of films of one to three swings, looked at ten and five times a
second, the count is exact. film_page_kb: what the film page fetches before the check is opened,
text compressed as it travels.
"""

from __future__ import annotations

import gzip
import json
import os
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("SHARED", ROOT.parent / "shared")) / "clips"
CLIPS = SHARED if SHARED.exists() else ROOT / "coaching" / "demo" / "clips"
LOOKS = 36  # of the golfer at address, a tenth of a second apart
ADDRESS_S = 0.6  # the shortest of the clips; longer where the clip's own truth says so
MARGINS = [(0.5, 0.5), (0.7, 1.0), (0.33, 0.85)]  # share and place down, as in find-golfer.js


def main() -> None:
    films, swings, truth, reps = [], [], [], []
    for path in sorted(CLIPS.glob("*.mp4")):
        if "_dtl" not in path.stem and "face_on" not in path.stem:
            continue
        asked = _asked(path.stem)
        frames = list(_frames(path))
        standing = _standing(path, frames)
        for name, expected, change in _changes(asked):
            films.append(
                {"asked": change.get("asked", asked), "looks": _looks(standing, change["do"])}
            )
            truth.append((name, expected))
        if asked["kind"] in ("swing", "rehearsal"):
            rows = [look["row"] for look in _looks(frames, lambda f, n: f)]
            filmed = 3 if path.stem.endswith("_three") else 1
            for count in (1, 2, 3):
                for every in (1, 2):
                    looks = _repeated(rows, count)[::every]
                    swings.append({"asked": asked, "looks": looks, "step": 0.1 * every})
                    reps.append(count * filmed)
    judged = _judge({"films": films, "swings": swings})
    _print(judged, truth, reps)
    print(f"figure film_page_kb {_page_kb():.0f} kB")


def _asked(stem: str) -> dict[str, Any]:
    return {
        "view": "face_on" if "face_on" in stem else "down_the_line",
        "hand": "left" if stem.startswith("left") else "right",
        "kind": next((k for k in ("rehearsal", "setup") if stem.startswith(k)), "swing"),
    }


def _frames(path: Path) -> Iterator[np.ndarray]:
    """Pictures a tenth of a second apart, RGB."""
    import av

    last = -1.0
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        for frame in container.decode(stream):
            t = float(frame.pts * stream.time_base)
            if t - last >= 0.095:
                last = t
                yield frame.to_ndarray(format="rgb24")


def _standing(path: Path, frames: list[np.ndarray]) -> list[np.ndarray]:
    """Somebody at address who goes on standing there: its pictures, forth and back."""
    truth = path.with_suffix(".truth.json")
    until = json.loads(truth.read_text())["events"]["address"] if truth.exists() else 0
    still = frames[: int(10 * max(until, ADDRESS_S)) + 1]
    there_and_back = still + still[-2:0:-1]
    return (there_and_back * (1 + LOOKS // len(there_and_back)))[:LOOKS]


Change = Callable[[np.ndarray, int], np.ndarray]


def _changes(asked: dict[str, Any]) -> Iterator[tuple[str, set[str], dict[str, Any]]]:
    """(name, sentences that are right, what changes)."""
    other = {"face_on": "down_the_line", "down_the_line": "face_on"}[asked["view"]]
    yield "good", {"good"}, {"do": lambda f, n: f}
    yield "cut", {"back"}, {"do": lambda f, n: _moved(f, down=0.3)}
    yield "near", {"back"}, {"do": lambda f, n: _zoomed(f, 2.9)}
    yield "far", {"closer"}, {"do": lambda f, n: _zoomed(f, 0.6)}
    yield "tilted", {"level"}, {"do": lambda f, n: _turned(f, 24)}
    yield (
        "sideways",
        {"turn_phone"},
        {"do": lambda f, n: np.ascontiguousarray(f[-720:].transpose(1, 0, 2)[:405])},
    )
    yield "dark", {"dark"}, {"do": lambda f, n: (f * 0.08).astype(np.uint8)}
    yield "another side", {"wrong_view"}, {"do": lambda f, n: f, "asked": asked | {"view": other}}
    if asked["view"] == "down_the_line":
        hand = "left" if asked["hand"] == "right" else "right"
        yield (
            "from the target",
            {"wrong_view"},
            {"do": lambda f, n: f, "asked": asked | {"hand": hand}},
        )
    yield "nobody", {"nobody"}, {"do": lambda f, n: _zoomed(f, 4, at=(0.13, 0.3))}
    # Whoever walks through the picture is not ready, whatever is said meanwhile.
    walks = {"hold_still", "wrong_view", "back", "aim_left", "aim_right", "nobody", "level"}
    yield "walking", walks, {"do": lambda f, n: _moved(f, right=0.12 * np.sin(n / 2))}


def _warp(frame: np.ndarray, matrix: list[list[float]]) -> np.ndarray:
    import cv2

    height, width = frame.shape[:2]
    return cv2.warpAffine(
        frame, np.array(matrix, float), (width, height), borderMode=cv2.BORDER_REPLICATE
    )


def _moved(frame: np.ndarray, *, right: float = 0, down: float = 0) -> np.ndarray:
    return _warp(frame, [[1, 0, right * frame.shape[1]], [0, 1, down * frame.shape[0]]])


def _zoomed(frame: np.ndarray, by: float, at: tuple[float, float] = (0.5, 0.62)) -> np.ndarray:
    height, width = frame.shape[:2]
    x, y = at[0] * width, at[1] * height
    return _warp(frame, [[by, 0, width / 2 - by * x], [0, by, height / 2 - by * y]])


def _turned(frame: np.ndarray, degrees: float) -> np.ndarray:
    import cv2

    height, width = frame.shape[:2]
    return _warp(frame, cv2.getRotationMatrix2D((width / 2, height * 0.55), degrees, 1.0).tolist())


def _looks(frames: list[np.ndarray], change: Change) -> list[dict[str, Any]]:
    """Landmarks of the changed pictures: [x, y, visibility] each, or None.

    In the order of find-golfer.js: where nobody is found, the picture is looked at in a margin.
    """
    import mediapipe as mp
    from django.conf import settings
    from mediapipe.tasks.python import BaseOptions, vision

    options = vision.PoseLandmarkerOptions(
        base_options=BaseOptions(model_asset_path=str(settings.MODELS_DIR / "pose_lite.task")),
        running_mode=vision.RunningMode.VIDEO,
    )
    looks = []
    in_margin = near = False
    turn = missed = 0
    with vision.PoseLandmarker.create_from_options(options) as network:
        for n, frame in enumerate(frames):
            seen = np.ascontiguousarray(change(frame, n))
            data = _margin(seen, *MARGINS[turn]) if in_margin else seen
            image = mp.Image(image_format=mp.ImageFormat.SRGB, data=data)
            found = network.detect_for_video(image, n * 100 + 1).pose_landmarks
            if found:
                near, missed = in_margin, 0
            elif in_margin:
                turn, missed = (turn + 1) % len(MARGINS), missed + 1
                near = near and missed < len(MARGINS)
            row = [[p.x, p.y, p.visibility] for p in found[0]] if found and not in_margin else None
            in_margin = not in_margin and not found
            height, width = seen.shape[:2]
            light = float(seen.mean()) / 255
            looks.append(
                {"row": row, "near": near, "width": width, "height": height, "light": light}
            )
    return looks


def _margin(frame: np.ndarray, share: float, down: float) -> np.ndarray:
    import cv2

    height, width = frame.shape[:2]
    out = np.full_like(frame, 128)
    small = cv2.resize(frame, None, fx=share, fy=share)
    top, left = int((height - small.shape[0]) * down), (width - small.shape[1]) // 2
    out[top : top + small.shape[0], left : left + small.shape[1]] = small
    return out


def _repeated(rows: list[Any], count: int) -> list[Any]:
    """Address for a second and a half, the swing, its finish held: so many times."""
    once = [rows[0]] * 15 + rows + [rows[-1]] * 8
    return once * count + [rows[0]] * 10


def _judge(films: dict[str, Any]) -> dict[str, Any]:
    script = Path(__file__).with_name("film_judge.mjs")
    done = subprocess.run(
        ["node", str(script)],  # noqa: S607  as `make lint` finds it
        input=json.dumps(films),
        capture_output=True,
        text=True,
        check=True,
    )
    return dict(json.loads(done.stdout))


def _print(judged: dict[str, Any], truth: list[tuple[str, set[str]]], reps: list[int]) -> None:
    framed = judged["framed"]
    right = [row["said"] in expected for row, (_n, expected) in zip(framed, truth, strict=True)]
    bad = [row for row, (name, _e) in zip(framed, truth, strict=True) if name != "good"]
    starts = [row["started"] == (n == "good") for row, (n, _e) in zip(framed, truth, strict=True)]
    for row, (name, _expected), fine in zip(framed, truth, right, strict=True):
        if not fine:
            print(f"  {name}: said {row['said']}")
    exact = [a == b for a, b in zip(judged["counted"], reps, strict=True)]
    print(f"figure framing_films {len(framed)} films")
    print(f"figure framing_right_share {np.mean(right):.3f} share")
    print(f"figure false_good_share {np.mean([row['good'] for row in bad]):.3f} share")
    print(f"figure selfstart_right_share {np.mean(starts):.3f} share")
    print(f"figure reps_counted_right {np.mean(exact):.3f} share")


def _page_kb() -> float:
    """The page, its styles, scripts with what they import at once, icons and letters."""
    import django
    from django.test import Client
    from django.test.utils import override_settings, setup_databases, teardown_databases

    django.setup()
    from tests import factories

    old = setup_databases(verbosity=0, interactive=False)
    try:
        with override_settings(ALLOWED_HOSTS=["testserver"]):
            angle = factories.make_angle(view="down_the_line", repetitions=3)
            client = Client()
            client.force_login(angle.request.student.user)
            page = client.get(f"/film/{angle.pk}/").content
    finally:
        teardown_databases(old, verbosity=0)
    names = re.findall(r'(?:href|src)="/static/([^"#]+)', page.decode())
    files = {ROOT / "static" / name for name in names}
    waiting = list(files)
    while waiting:
        file = waiting.pop()
        if file.suffix == ".js":
            for name in re.findall(r'^import [^"]*"([^"]+)"', file.read_text(), re.M):
                found = (file.parent / name).resolve()
                if found not in files:
                    files.add(found)
                    waiting.append(found)
    letters = ROOT / "static" / "vendor" / "fonts"
    woff = [
        letters / f"{n}.woff2"
        for n in ("commissioner-latin-flar-normal", "source-sans-3-latin-wght-normal")
    ]
    text = len(gzip.compress(page)) + sum(len(gzip.compress(f.read_bytes())) for f in files)
    return (text + sum(f.stat().st_size for f in woff)) / 1000
