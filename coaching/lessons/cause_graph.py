"""Geometry of the cause graph: findings from causes to what is seen, each a stone. Pure.

A graph is `{"nodes": [{"id", "label", "state", "note"?, "url"?}], "edges": [[cause, effect]]}`.
States: `done` (full, with a tick), `way` (half: worked on now, or close), `next` (comes with it),
`leave` (empty: leave it for now, harmless, or ahead), `keep` (a strength), `ask` (a question
first), `stop` (it hurt), `maybe` (only suggested), `ball` (what the ball does).
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

STATES = ("done", "way", "next", "leave", "keep", "ask", "stop", "maybe", "ball")
STONE_W, STONE_H = 60.0, 42.0
WIDE_COLUMN, WIDE_ROW = 196.0, 132.0
NARROW_WIDTH, NARROW_ROW = 340.0, 84.0


@dataclass(frozen=True)
class Stone:
    id: Any
    state: str
    x: float
    y: float
    lines: tuple[tuple[float, str], ...]  # (y, words)
    note: str
    note_y: float
    text_x: float
    url: str


@dataclass(frozen=True)
class Path:
    width: float
    height: float
    stones: tuple[Stone, ...]
    edges: tuple[str, ...]  # SVG path data
    arrows: tuple[str, ...]


def layers_of(ids: Iterable[Any], edges: Iterable[tuple[Any, Any]]) -> dict[Any, int]:
    """Longest way from a first cause to each stone: 0 for first causes.

    Links to unknown stones are left out; a cycle ends where it would close.
    """
    ids = list(ids)
    causes: dict[Any, list[Any]] = {i: [] for i in ids}
    for cause, effect in edges:
        if cause in causes and effect in causes:
            causes[effect].append(cause)
    found: dict[Any, int] = {}

    def depth(stone: Any, above: frozenset[Any]) -> int:
        if stone not in found:
            over = above | {stone}
            found[stone] = 1 + max(
                (depth(c, over) for c in causes[stone] if c not in over), default=-1
            )
        return found[stone]

    return {i: depth(i, frozenset()) for i in ids}


def draw_wide(graph: Mapping[str, Any]) -> Path:
    """From left, the causes, to right, what is seen; stones without a link stand below."""
    nodes, edges, layer = _parts(graph)
    linked = {stone for edge in edges for stone in edge}
    columns: dict[int, list[Any]] = {}
    for node in nodes:
        if node["id"] in linked:
            columns.setdefault(layer[node["id"]], []).append(node["id"])
    tallest = max((len(column) for column in columns.values()), default=0)
    cells = {}
    for number, column in columns.items():
        for row, stone in enumerate(column):
            cells[stone] = (number, row + (tallest - len(column)) / 2)
    across = max(len(columns), 3)
    alone = [node["id"] for node in nodes if node["id"] not in linked]
    for number, stone in enumerate(alone):
        cells[stone] = (number % across, tallest + number // across)
    places = {
        stone: (WIDE_COLUMN * (column + 0.5), row * WIDE_ROW + STONE_H / 2 + 6)
        for stone, (column, row) in cells.items()
    }
    stones = tuple(_stone(node, places[node["id"]], below=True) for node in nodes)
    lines, arrows = [], []
    for cause, effect in edges:
        (ax, ay), (bx, by) = places[cause], places[effect]
        start, end = ax + STONE_W / 2 + 5, bx - STONE_W / 2 - 11
        bend = (end - start) / 2
        # A line over a stone that stands between swings above it.
        lift = WIDE_ROW / 3 if layer[effect] - layer[cause] > 1 and ay == by else 0
        lines.append(
            f"M{start:.0f},{ay:.0f} C{start + bend:.0f},{ay - lift:.0f} "
            f"{end - bend:.0f},{by - lift:.0f} {end:.0f},{by:.0f}"
        )
        arrows.append(f"M{end:.0f},{by - 5:.0f} l8,5 l-8,5 z")
    rows = tallest + -(-len(alone) // across)
    return Path(across * WIDE_COLUMN, rows * WIDE_ROW, stones, tuple(lines), tuple(arrows))


def draw_narrow(graph: Mapping[str, Any]) -> Path:
    """From top, the causes, to bottom, what is seen; words stand beside the stones."""
    nodes, edges, layer = _parts(graph)
    linked = {stone for edge in edges for stone in edge}
    ordered = sorted(nodes, key=lambda node: (node["id"] not in linked, layer[node["id"]]))
    x = 62.0
    places = {
        node["id"]: (x, row * NARROW_ROW + NARROW_ROW / 2) for row, node in enumerate(ordered)
    }
    stones = tuple(_stone(node, places[node["id"]], below=False) for node in ordered)
    lines, arrows = [], []
    for cause, effect in edges:
        (ax, ay), (_, by) = places[cause], places[effect]
        steps = round((by - ay) / NARROW_ROW)
        if steps == 1:
            end = by - STONE_H / 2 - 11
            lines.append(f"M{ax:.0f},{ay + STONE_H / 2 + 4:.0f} V{end:.0f}")
            arrows.append(f"M{ax - 5:.0f},{end:.0f} h10 l-5,8 z")
        else:  # past other stones, on the outside
            edge, out = x - STONE_W / 2 - 3, max(4.0, 26.0 - 8 * steps)
            lines.append(
                f"M{edge:.0f},{ay + 6:.0f} C{out:.0f},{ay + 26:.0f} "
                f"{out:.0f},{by - 26:.0f} {edge - 6:.0f},{by - 4:.0f}"
            )
            arrows.append(f"M{edge - 9:.0f},{by - 10:.0f} l9,8 l-11,3 z")
    return Path(NARROW_WIDTH, len(ordered) * NARROW_ROW, stones, tuple(lines), tuple(arrows))


def _parts(
    graph: Mapping[str, Any],
) -> tuple[list[Mapping[str, Any]], list[tuple[Any, Any]], dict[Any, int]]:
    nodes = list(graph["nodes"])
    ids = [node["id"] for node in nodes]
    layer = layers_of(ids, [tuple(edge) for edge in graph["edges"]])
    edges = [
        (cause, effect)
        for cause, effect in graph["edges"]
        if cause in layer and effect in layer and layer[cause] < layer[effect]
    ]
    return nodes, edges, layer


def _stone(node: Mapping[str, Any], place: tuple[float, float], *, below: bool) -> Stone:
    x, y = place
    note = str(node.get("note") or "")
    room, most = (24, 3) if below else (29, 2 if note else 3)
    label = str(node["label"])
    text = textwrap.wrap(label[:1].upper() + label[1:], room) or [""]
    if len(text) > most:
        text = [
            *text[: most - 1],
            textwrap.shorten(" ".join(text[most - 1 :]), room, placeholder=" …"),
        ]
    rows = len(text) + bool(note)
    first = y + STONE_H / 2 + 20 if below else y - (rows - 1) * 9 + 5
    lines = tuple((first + 18 * i, line) for i, line in enumerate(text))
    return Stone(
        id=node["id"],
        state=node["state"] if node["state"] in STATES else "leave",
        x=x,
        y=y,
        lines=lines,
        note=note,
        note_y=first + 18 * len(text),
        text_x=x if below else x + STONE_W / 2 + 14,
        url=str(node.get("url") or ""),
    )
