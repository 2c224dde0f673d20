"""The film draws what the browser's replay draws: both are held to one table.

`tests/js/strokes.test.mjs` tries the scripts against the same file.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from coaching.review.film import comparing, painting
from coaching.review.film.captions import line_at, lines_of
from coaching.review.film.figures import figure_strokes
from coaching.review.film.geometry import View, refitted
from coaching.review.film.script import Script, State, frame_of
from coaching.review.film.strokes import Strokes, mark_strokes, overlay, strength

TABLE = json.loads((Path(__file__).parents[2] / "data" / "strokes.json").read_text())
DATA, OTHER, ASPECT = TABLE["data"], TABLE["other"], TABLE["aspect"]


def drawn(strokes: Strokes) -> dict[str, Any]:
    made: dict[str, Any] = {
        name: _listed(getattr(strokes, name)) for name in ("lines", "dashed", "fan", "dots")
    }
    made["rings"] = [{"centre": _listed(c), "edge": _listed(e)} for c, e in strokes.rings]
    if strokes.label is not None:
        label, start = strokes.label, strokes.label.start
        made["label"] = {"at": _listed(label.at), "text": label.text}
        made["label"] |= {"from": _listed(start)} if start is not None else {}
    return {name: part for name, part in made.items() if part}


def _listed(value: Any) -> Any:
    if isinstance(value, tuple | list):
        return [_listed(part) for part in value]
    return round(value, 6)


def told(expect: dict[str, Any]) -> dict[str, Any]:
    """The script's own form of the same: a single ring apart, and what only it needs."""
    wanted = {k: v for k, v in expect.items() if k not in {"ring", "at", "text", "free", "frozen"}}
    rings = [*expect.get("rings", []), *([expect["ring"]] if "ring" in expect else [])]
    return wanted | ({"rings": rings} if rings else {})


def near(a: Any, b: Any) -> bool:
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(near(a[k], b[k]) for k in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(near(x, y) for x, y in zip(a, b, strict=True))
    return bool(a == b if isinstance(a, str) else a == pytest.approx(b, abs=2e-6))


@pytest.mark.parametrize("case", TABLE["cases"], ids=lambda case: case["kind"])
def test_as_the_table_says(case: dict[str, Any]) -> None:
    expect = case["expect"]
    if case["kind"] == "overlay":
        made = overlay(case["id"], DATA, frame=case["frame"], repetition=case["repetition"])
        assert near(drawn(made), told(expect))
        assert (made.style == "frozen") == bool(expect.get("frozen")) or not drawn(made)
    elif case["kind"] == "figure":
        where = {"frame": case["frame"], "repetition": case["repetition"]}
        assert near(
            drawn(figure_strokes(DATA, case["figure"], aspect=ASPECT, **where)), told(expect)
        )
    elif case["kind"] == "mark":
        made = mark_strokes(case["mark"], ASPECT, by_eye="by_eye {angle}", faint=False)
        assert near(drawn(made), told(expect))
    elif case["kind"] == "strength":
        assert strength(case["mark"], case["time"]) == expect
    elif case["kind"] == "frame":
        state = Script(case["events"], 1).at(case["t"])
        assert frame_of(state, case["t"], np.array(DATA["frame_times_s"])) == expect
    elif case["kind"] == "beside":
        pairs = comparing.shared_events(DATA, 0, OTHER)
        how, time_s = case["how"], case["time"]
        found = (
            comparing.stretched(pairs, time_s)
            if how == "stretched"
            else comparing.at_event(pairs, how, time_s)
        )
        assert found == pytest.approx(expect, abs=2e-6)
    else:
        view = View(*(case["view"][name] for name in ("scale", "x", "y")))
        found_view = refitted(view, tuple(case["was"]), tuple(case["now"]))
        assert near(dict(found_view._asdict()), expect)


def test_what_cannot_be_read_is_left_out() -> None:
    script = Script([{"t": 0, "do": "speed", "value": "x"}, {"do": {}}, {"t": 1}], 4)  # type: ignore[list-item]
    assert script.at(2.0) == State(4)


@pytest.mark.parametrize(
    ("time_s", "text"),
    [(0.9, ""), (1.0, "Look & turn"), (2.4, "Look & turn"), (2.5, ""), (70, "b")],
)
def test_captions_have_their_time(time_s: float, text: str) -> None:
    lines = lines_of(
        "WEBVTT\n\n1\n00:01.000 --> 00:02.500 line:0\nLook &amp;\nturn\n\nbad --> worse\nx\n\n"
        "00:01:00.000 --> 00:02:00.000\nb\n"
    )
    assert line_at(lines, time_s) == text


def test_long_captions_are_broken_between_words() -> None:
    rows = painting.wrapped("stay tall and let the club fall", 20, 120)
    assert len(rows) > 1 and " ".join(rows) == "stay tall and let the club fall"
    assert all(painting.text_width(row, 20) <= 120 for row in rows)
