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

import numpy as np
from numpy.typing import NDArray

from analysis import weights
from analysis.core.measures import MEASURES
from analysis.core.pose import MEASURED_VIEWS
from analysis.training.crossval import Errors, honest_coverage, limits_of_agreement

Archive = dict[str, NDArray[np.generic]]
_VIEW_WORDS = {"down_the_line": "down the line", "face_on": "face on"}
_UNIT_WORDS = {"deg": "°", "": ""}
_HEAD = (
    "| measure | at | view | n | RMS | median | bias | limits of agreement | in 2u | u ÷ RMS |",
    "| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
)
_MARKED = re.compile(r"(<!-- errors: ([\w ]+) -->\n).*?(<!-- end -->)", re.S)


def main() -> None:
    parser = argparse.ArgumentParser(description="Tables of the errors on unseen bodies.")
    parser.add_argument("--into", type=Path, help="a note whose marked tables are written anew")
    options = parser.parse_args()
    archive = weights.errors()
    if options.into is None:
        print("\n".join(table(archive, dict.fromkeys(m.id for m in MEASURES))))
    else:
        options.into.write_text(renewed(options.into.read_text(), archive))


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
