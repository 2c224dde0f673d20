"""Print the errors on unseen bodies: `python -m analysis.training.tables [--into FILE]`.

Without a file the tables of all measures are printed. With `--into docs/measurement.md`
each table of the note is written anew between its marks,

    <!-- errors: pelvis_turn_deg shoulder_turn_deg -->
    <!-- end -->

so that the note never says other numbers than the weights beside it came with.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis import weights
from analysis.core.measures import MEASURES
from analysis.core.pose import MEASURED_VIEWS
from analysis.training.crossval import Errors, honest_coverage, limits_of_agreement

Archive = dict[str, NDArray[Any]]
_VIEW_WORDS = {"down_the_line": "down the line", "face_on": "face on"}
_UNIT_WORDS = {"deg": "°", "": ""}
_HEAD = (
    "| measure | at | view | n | RMS | median | bias | limits of agreement | in 2u | u ÷ RMS |",
    "| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
)
_MOTION_HEAD = (
    "| measure | at | view | habitual: RMS | in 2u | told | free: RMS | in 2u | told "
    "| where told: RMS | in 2u |",
    "| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
)
_FOR_TESTS_ALONE = ("moved hands", "more turn")
_MARKED_MOTIONS = re.compile(r"(<!-- motions: ([\w ]+) -->\n).*?(<!-- end -->)", re.S)
_FAMILY_HEAD = (
    "| family | readings | inside 2u | shoulder turn at the top: RMS, mean u, in 2u, told "
    "| pelvis turn at the top |",
    "| --- | ---: | ---: | --- | --- |",
)
_MARKED_FAMILIES = re.compile(r"(<!-- families: (\w+) -->\n).*?(<!-- end -->)", re.S)
_MARKED = re.compile(r"(<!-- errors: ([\w ]+) -->\n).*?(<!-- end -->)", re.S)


def main() -> None:
    parser = argparse.ArgumentParser(description="Tables of the errors on unseen bodies.")
    parser.add_argument("--into", type=Path, help="a note whose marked tables are written anew")
    options = parser.parse_args()
    archive = weights.errors()
    if options.into is None:
        print("\n".join(table(archive, dict.fromkeys(m.id for m in MEASURES))))
    else:
        note = renewed(options.into.read_text(), archive)
        options.into.write_text(with_motions(note, archive, weights.free_errors()))


def renewed(note: str, archive: Archive) -> str:
    """The note with every marked table written anew."""

    def write(found: re.Match[str]) -> str:
        rows = table(archive, found[2].split())
        return "\n".join([found[1], *rows, "", found[3]])

    return _MARKED.sub(write, note)


def table(archive: Archive, measures: Iterable[str]) -> list[str]:
    """Rows of a Markdown table, by measure, then event, then view; absent ones are left out."""
    lines = list(_HEAD)
    for id in measures:
        for m in (m for m in MEASURES if m.id == id):
            for view in MEASURED_VIEWS:
                here = (archive["measure"] == id) & (archive["event"] == m.event)
                here &= archive["view"] == view
                if here.any():
                    told = _row({name: column[here] for name, column in archive.items()}, m.unit)
                    place = f"| `{id}` | {m.event} | {_VIEW_WORDS[view]} "
                    lines.append(place + told)
    return lines


def with_motions(note: str, habitual: Archive, free: Archive) -> str:
    """The note with every table of habitual and free motions side by side written anew."""

    def motions(found: re.Match[str]) -> str:
        return "\n".join([found[1], *motion_table(habitual, free, found[2].split()), "", found[3]])

    def families(found: re.Match[str]) -> str:
        return "\n".join([found[1], *family_table(free, found[2]), "", found[3]])

    return _MARKED_FAMILIES.sub(families, _MARKED_MOTIONS.sub(motions, note))


def motion_table(habitual: Archive, free: Archive, measures: Iterable[str]) -> list[str]:
    """Errors on habitual swings and on motions without habits, one row a figure and view."""
    free = _where(free, ~np.isin(free["family"], _FOR_TESTS_ALONE))
    lines = list(_MOTION_HEAD)
    for id in measures:
        for m in (m for m in MEASURES if m.id == id):
            for view in MEASURED_VIEWS:
                own, other = (
                    _where(a, (a["measure"] == id) & (a["event"] == m.event) & (a["view"] == view))
                    for a in (habitual, free)
                )
                if len(own["u"]) and len(other["u"]):
                    sign = _UNIT_WORDS.get(m.unit, f" {m.unit}")
                    told = _brief(_where(other, other["told"]), sign)
                    lines.append(
                        f"| `{id}` | {m.event} | {_VIEW_WORDS[view]} | {_brief(own, sign)} "
                        f"| {_share(own['told'])} | {_brief(other, sign)} "
                        f"| {_share(other['told'])} | {told} |"
                    )
    return lines


def family_table(free: Archive, view: str) -> list[str]:
    """Each family as told by members that never saw it."""
    free = _where(free, (free["view"] == view) & ~np.isin(free["family"], _FOR_TESTS_ALONE))
    lines = list(_FAMILY_HEAD)
    for family in np.unique(free["family"]):
        here = _where(free, free["family"] == family)
        inside = np.abs(here["value"] - here["truth"]) <= 2 * here["u"]
        turns = [
            _turn(_where(here, (here["measure"] == id) & (here["event"] == "top")))
            for id in ("shoulder_turn_deg", "pelvis_turn_deg")
        ]
        lines.append(f"| {family} | {len(inside)} | {_share(inside)} | {turns[0]} | {turns[1]} |")
    return lines


def _turn(rows: Archive) -> str:
    error, u = rows["value"] - rows["truth"], rows["u"].astype(float)
    return (
        f"{np.sqrt(np.mean(error**2)):.0f}°, {np.sqrt(np.mean(u**2)):.0f}°, "
        f"{_share(np.abs(error) <= 2 * u)}, {_share(rows['told'])}"
    )


def _where(rows: Archive, kept: NDArray[np.bool_]) -> Archive:
    return {name: column[kept] for name, column in rows.items()}


def _brief(rows: Archive, sign: str) -> str:
    error = rows["value"].astype(float) - rows["truth"]
    if len(error) < 10:
        return "– | –"
    rms = float(np.sqrt(np.mean(error**2)))
    places = 3 if rms < 0.3 else 2 if rms < 3 else 1
    return f"{rms:.{places}f}{sign} | {_share(np.abs(error) <= 2 * rows['u'])}"


def _share(hits: NDArray[np.generic]) -> str:
    return f"{100 * float(np.mean(hits.astype(float))):.0f} %"


def _row(rows: Archive, unit: str) -> str:
    truth, value, u = (rows[name].astype(float) for name in ("truth", "value", "u"))
    error = value - truth
    rms = float(np.sqrt(np.mean(error**2)))
    bias = float(error.mean())
    low, high = limits_of_agreement(error)
    swings = Errors(np.arange(len(error)), truth, value, u)
    inside = honest_coverage(swings, rows["body"].astype(np.int64))
    sign = _UNIT_WORDS.get(unit, f" {unit}")
    places = 3 if rms < 0.3 else 2 if rms < 3 else 1
    return (
        f"| {len(error)} | {rms:.{places}f}{sign} | {np.median(np.abs(error)):.{places}f} "
        f"| {_signed(bias, places)} | {_signed(low, places)} to {_signed(high, places)} "
        f"| {100 * inside:.0f} % | {np.sqrt(np.mean(u**2)) / rms:.2f} |"
    )


def _signed(value: float, places: int) -> str:
    text = f"{value:+.{places}f}"
    return (text[1:] if float(text) == 0 else text).replace("-", "−")


if __name__ == "__main__":
    main()
