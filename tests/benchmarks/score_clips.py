"""Error, coverage and speed by view over any folder of clips with truth files.

    python -m tests.benchmarks.score_clips [FOLDER] [--json DIR] [--only TEXT] [--bare]

Each CLIP.mp4 stands beside CLIP.truth.json: view, kind, handedness, stature_cm,
`events` (seconds) and `measures` (id, event, value). Without FOLDER: the folder `clips`
of the environment variable SHARED. `--json` keeps each result there and, when it is
there already, reads it instead of measuring again.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

from analysis.core.pose import Capture
from analysis.estimators import MediaPipeEstimator
from analysis.pipeline import analyse_video

EVENT_LIMIT_S = {"finish": 0.150}
USUAL_LIMIT_S = 0.033


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    shared = os.environ.get("SHARED", "../shared")
    parser.add_argument("folder", nargs="?", type=Path, default=Path(shared) / "clips")
    parser.add_argument("--json", type=Path, help="keep results here and reuse them")
    parser.add_argument("--only", default="", help="clips whose name holds this")
    parser.add_argument("--bare", action="store_true", help="no table of each clip's worst")
    options = parser.parse_args()
    truths = sorted(p for p in options.folder.glob("*.truth.json") if options.only in p.name)
    if not truths:
        parser.error(f"no *.truth.json in {options.folder}")
    scored = [score(path, options.json) for path in truths]
    print_measures(scored)
    print_events(scored)
    print_speed(scored)
    if not options.bare:
        print_worst(scored)


def score(truth_path: Path, keep: Path | None) -> dict[str, Any]:
    truth = json.loads(truth_path.read_text())
    clip = truth_path.with_name(truth["clip"])
    stored = keep / f"{clip.stem}.json" if keep else None
    if stored and stored.exists():
        result = json.loads(stored.read_text())
    else:
        capture = Capture(
            truth["view"],
            truth["kind"],
            truth["handedness"],
            truth["stature_cm"],
            truth.get("club_cm"),
        )
        start = time.perf_counter()
        result = analyse_video(clip, capture=capture, estimator=MediaPipeEstimator())
        result["wall_s"] = time.perf_counter() - start
        if stored:
            stored.parent.mkdir(parents=True, exist_ok=True)
            stored.write_text(json.dumps(result))
    return {"truth": truth, "result": result}


def print_measures(scored: list[dict[str, Any]]) -> None:
    errors: dict[tuple[str, str, str], list[tuple[float, float]]] = defaultdict(list)
    asked: dict[tuple[str, str, str], int] = defaultdict(int)
    reasons: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for clip in scored:
        true = {(m["id"], m["event"]): m["value"] for m in clip["truth"]["measures"]}
        reps = clip["result"]["reps"]
        rows = {(m["id"], m["event"]): m for m in reps[0]["measures"]} if reps else {}
        for key, value in true.items():
            row = rows.get(key)
            if value is None or (row is None and reps):
                continue  # not a measure of this view
            where = (clip["truth"]["view"], *key)
            asked[where] += 1
            if row is None or row["value"] is None:
                reasons[where].append(row["reason"] if row else "no_repetition")
            else:
                errors[where].append((row["value"] - value, row["uncertainty"]))
    print(
        f"{'measure':<36}{'seen':>7}{'bias':>9}{'rms':>9}{'median':>9}{'worst':>9}"
        f"{'mean u':>9}{'in 2u':>8}  reasons"
    )
    pooled: dict[str, list[bool]] = defaultdict(list)
    for where in sorted(asked, key=lambda w: (w[0], w[1], w[2])):
        found = errors[where]
        view, id, event = where
        name = f"{'DTL' if view == 'down_the_line' else 'FO '} {id}@{event}"
        why = ",".join(sorted(set(reasons[where])))
        if not found:
            print(f"{name:<36}{0:>4}/{asked[where]:<2}{'':>53}  {why}")
            continue
        off = [e for e, _ in found]
        inside = [abs(e) <= 2 * u for e, u in found]
        pooled[view] += inside
        rms = statistics.fmean(e * e for e in off) ** 0.5
        print(
            f"{name:<36}{len(found):>4}/{asked[where]:<2}{statistics.fmean(off):>9.2f}{rms:>9.2f}"
            f"{statistics.median(map(abs, off)):>9.2f}{max(map(abs, off)):>9.2f}"
            f"{statistics.fmean(u for _, u in found):>9.2f}{statistics.fmean(inside):>8.2f}  {why}"
        )
    for view, inside in pooled.items():
        print(f"figure clips_coverage_2u_{view} {statistics.fmean(inside):.3f} share")


def print_events(scored: list[dict[str, Any]]) -> None:
    off: dict[tuple[str, str], list[float]] = defaultdict(list)
    asked: dict[tuple[str, str], int] = defaultdict(int)
    for clip in scored:
        if clip["truth"]["kind"] == "setup":
            continue  # any still moment is a right address
        reps = clip["result"]["reps"]
        for event, when in clip["truth"]["events"].items():
            where = (clip["truth"]["view"], event)
            asked[where] += 1
            found = reps[0]["events"].get(event, {}).get("time_s") if reps else None
            if found is not None:
                off[where].append(found - when)
    print(f"\n{'event':<36}{'seen':>7}{'bias ms':>9}{'median':>9}{'worst':>9}{'in limit':>10}")
    hits = total = 0
    for where in sorted(asked):
        found = off[where]
        limit = EVENT_LIMIT_S.get(where[1], USUAL_LIMIT_S)
        good = sum(abs(e) <= limit + 1e-9 for e in found)
        hits, total = hits + good, total + asked[where]
        name = f"{'DTL' if where[0] == 'down_the_line' else 'FO '} {where[1]}"
        if found:
            print(
                f"{name:<36}{len(found):>4}/{asked[where]:<2}{1e3 * statistics.fmean(found):>9.0f}"
                f"{1e3 * statistics.median(map(abs, found)):>9.0f}"
                f"{1e3 * max(map(abs, found)):>9.0f}"
                f"{good:>7}/{asked[where]:<2}"
            )
        else:
            print(f"{name:<36}{0:>4}/{asked[where]:<2}")
    print(f"figure clips_events_in_limit {hits / max(total, 1):.3f} share")


def print_speed(scored: list[dict[str, Any]]) -> None:
    print(
        f"\n{'clip':<28}{'reps':>5}{'decode':>8}{'pose':>8}{'club':>8}{'measure':>8}{'total':>8}"
        "  quality"
    )
    for clip in scored:
        result = clip["result"]
        s = result["seconds"]
        codes = " ".join(f"{q['code']}:{q['level']}" for q in result["quality"])
        print(
            f"{clip['truth']['clip']:<28}{len(result['reps']):>5}{s['decode']:>8.2f}{s['pose']:>8.2f}"
            f"{s['club']:>8.2f}{s['measure']:>8.2f}{s['total']:>8.2f}  {codes}"
        )


def print_worst(scored: list[dict[str, Any]]) -> None:
    print(f"\n{'clip':<28}three figures furthest from the truth, in their own u")
    for clip in scored:
        true = {(m["id"], m["event"]): m["value"] for m in clip["truth"]["measures"]}
        rows = [m for rep in clip["result"]["reps"][:1] for m in rep["measures"]]
        off = [
            (abs(m["value"] - true[m["id"], m["event"]]) / m["uncertainty"], m)
            for m in rows
            if m["value"] is not None and true.get((m["id"], m["event"])) is not None
        ]
        worst = sorted(off, key=lambda pair: -pair[0])[:3]
        text = "  ".join(f"{m['id']}@{m['event']} {z:.1f}" for z, m in worst)
        print(f"{clip['truth']['clip']:<28}{text}")


if __name__ == "__main__":
    main()
