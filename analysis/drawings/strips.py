"""The strip of a drill: its positions side by side, each a square that can be shown alone.

Written to `static/drills/SLUG.svg`. A page shows position k as the fragment
`#svgView(viewBox(320k,0,320,320))`, mirrored for a left-hander, so nothing in the file is
text.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.pose import Array
from analysis.drawings import golfer as figure
from analysis.drawings import hands
from analysis.drawings.acting import body_of, pose_of
from analysis.drawings.golfer import BALL, Body
from analysis.drawings.moves import MOVES, Move, Position
from analysis.drawings.sheet import AXES, SIZE, Sheet, style

FOLDER = Path(__file__).resolve().parents[2] / "static" / "drills"
_GRAY = "@media print{svg{--water:#222;--line:#ccc;--edge:#666;--ink-2:#333;--leaf:#fff}}"
_MORE = (
    ".foam{stroke-dasharray:3 3}"
    ".foot{fill:none;stroke:var(--edge);stroke-width:2;stroke-linejoin:round}"
    ".foot.go{stroke:var(--water);stroke-width:3.5}"
    ".hand{fill:none;stroke:var(--line);stroke-linecap:round;stroke-linejoin:round}"
    ".hand.rim{stroke:var(--leaf)}.hand.go{stroke:var(--water)}"
)
_AIR_M = 0.13  # round whatever is drawn


def write_all() -> None:
    """Draw the strip of every starter drill anew."""
    FOLDER.mkdir(exist_ok=True)
    for slug, move in MOVES.items():
        (FOLDER / f"{slug}.svg").write_text(strip(slug, move))


def strip(slug: str, move: Move) -> str:
    """The whole file of one drill."""
    squares = "".join(
        f'<g transform="translate({SIZE * k} 0)"><svg width="{SIZE}" height="{SIZE}" '
        f'viewBox="0 0 {SIZE} {SIZE}">{_square(move, position)}</svg></g>'
        for k, position in enumerate(move.positions)
    )
    wide = SIZE * len(move.positions)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {SIZE}" width="{wide}" '
        f'height="{SIZE}" data-drill="{slug}" data-positions="{len(move.positions)}">'
        f"<style>{style()}{_MORE}{_GRAY}</style>"
        f'<rect class="paper" width="{wide}" height="{SIZE}"/>'
        f"{squares}</svg>\n"
    )


def _square(move: Move, position: Position) -> str:
    if position.close_up:
        return hands.drawn(position.close_up)
    sheet = Sheet(move.view, _box(move))
    told = {prop[0]: prop[1:] for prop in position.props}
    sheet.ground(_ball(move, told), foam="foam" in told)
    bars = [prop[1] for prop in position.props if prop[0] == "bar"]
    body = _body(position, bars)
    for prop in position.props:
        if prop[0] in _BEHIND:
            _prop(sheet, body, prop)
    if position.shadow is not None:
        behind = body_of(position.event, {position.event: position.shadow})
        sheet.golfer(behind, ghost=True, club=position.club)
    above = move.view == "above"
    moves = tuple(m for m in position.moves if not (above and m == "legs"))
    sheet.golfer(body, club=position.club, moves=moves, hands=not bars)
    if above:
        looks = float(told.get("look", (0.0,))[0])
        sheet.from_above(body, looks_deg=looks, feet="legs" in position.moves)
    for joint, part in (("hip", "hips"), ("shoulder", "shoulders")):
        if part in position.moves:
            sheet.line("now", *_widened(body, joint))
    for prop in position.props:
        if prop[0] not in _BEHIND:
            _prop(sheet, body, prop)
    return "\n".join(sheet.parts)


def _ball(move: Move, told: Mapping[str, Any]) -> Array | None:
    if "no ball" in told:
        return None
    x, y = move.ball or (BALL[0], BALL[1])
    return np.array([told.get("ball", (x,))[0], y, BALL[2]])


def _box(move: Move) -> tuple[float, float, float, float]:
    """What every position of a drill needs, so that all are drawn equally large."""
    right, up = (np.array(axis) for axis in AXES[move.view][:2])
    seen = [np.array([0.0, 0.0, -0.12]), _ball(move, {})]
    for position in move.positions:
        if position.close_up:
            continue
        body = _body(position, [p[1] for p in position.props if p[0] == "bar"])
        seen += list(body.joints.values())
        seen += [body["head"] + 0.12 * up]
        if position.club:
            seen.append(body.club_head)
        seen += [
            np.asarray(place, float)
            for prop in position.props
            if prop[0] == "arrow"
            for place in prop[1:]
        ]
    x, y = (np.array([p @ axis for p in seen]) for axis in (right, up))
    return (
        float(x.min()) - _AIR_M,
        float(x.max()) + _AIR_M,
        float(y.min()) - 0.02,
        float(y.max()) + _AIR_M / 2,
    )


def _body(position: Position, bars: list[str]) -> Body:
    if not bars:
        return body_of(position.event, {position.event: position.changes})
    turned = dict(position.changes)
    if bars[0] == "hips":  # held on the hips the shoulders turn with them
        pose = pose_of(position.event, {position.event: turned})
        turned["shoulder_turn"] = pose.pelvis_turn
    return _holding(body_of(position.event, {position.event: turned}), bars[0])


def _widened(body: Body, joint: str) -> tuple[Array, Array]:
    """The line through a pair of joints, a little longer than between them."""
    lead, trail = body[f"{joint}_lead"], body[f"{joint}_trail"]
    return lead + 0.25 * (lead - trail), trail + 0.25 * (trail - lead)


_BEHIND = (
    "wall", "post", "plumb", "chair", "stick", "line", "lane", "mark", "level", "turned", "clubs",
)  # fmt: skip


def _prop(sheet: Sheet, body: Body, prop: tuple[Any, ...]) -> None:
    """A thing in the room, or a line that the golfer goes by."""
    kind, *told = prop
    if kind in ("wall", "post", "plumb"):
        axis, where, *high = told
        foot = np.zeros(3)
        foot[axis] = where
        top = foot + np.array([0, 0, high[0] if high else 1.75])
        sheet.line("was" if kind == "plumb" else "prop", foot, top)
    elif kind == "chair":
        x, back = float(told[0]), float(told[0]) - 0.36
        sheet.line("prop", *(np.array(p) for p in ((x, 0, 0.80), (x, 0, 0), (x, 0, 0.45))))
        sheet.line("prop", *(np.array(p) for p in ((x, 0, 0.45), (back, 0, 0.45), (back, 0, 0))))
    elif kind == "arrow":
        sheet.distance(*(sheet.at(np.array(place, float)) for place in told))
    elif kind == "gap":
        _gap(sheet, body)
    elif kind == "clubs":
        for k, length in enumerate((0.86, 0.98, 1.12)):
            x = 0.52 + 0.11 * k
            ends = np.array([x, 0, 0.0]), np.array([x, 0, length])
            sheet.line("now" if k == told[0] else "prop", *ends)
    elif kind == "stick":
        sheet.line("prop", np.array(told[0], float), np.array(told[1], float))
    elif kind == "bar":
        sheet.line("now", *(figure.bar_ends(body) if told[0] == "hips" else _across_chest(body)))
    elif kind == "turned":
        turn = np.radians(180 + told[0])
        along = 0.55 * np.array([np.cos(turn), np.sin(turn), 0.0])
        sheet.line("was", body["mid_hip"] + 0.15 - along, body["mid_hip"] + 0.15 + along)
    elif kind == "mark":
        x = float(told[0])
        sheet.line("was", np.array([x, 0, 1.28]), np.array([x, 0, 1.92]))
    elif kind == "level":
        z = float(told[0])
        sheet.line("was", np.array([-0.5, 0, z]), np.array([0.5, 0, z]))
    elif kind == "line":
        x = float(told[0])
        sheet.line("was", np.array([x, 0.8, -0.12]), np.array([x, 0.8, 0.34]))
    elif kind == "lane":
        for x in (-told[0], told[0]):
            sheet.line("prop", np.array([x, 0, -0.08]), np.array([x, 0, 0.0]))
    elif kind == "towel":
        drop = np.array([0, 0.03, -0.10])
        sheet.line("prop", body["shoulder_lead"] + drop, body["shoulder_trail"] + drop)
    elif kind == "on":
        step = body.club_head - body["grip"]
        ground = body["grip"] - step * body["grip"][2] / step[2]
        sheet.line("was", body["grip"], ground)


def _gap(sheet: Sheet, body: Body) -> None:
    """An arrow between the end of the handle and the thigh, level with it."""
    shaft = body.club_head - body["grip"]
    end = body["grip"] - 0.10 * shaft / np.linalg.norm(shaft)
    hip, knee = body["mid_hip"], body["mid_knee"]
    share = (hip[2] - end[2]) / (hip[2] - knee[2])
    thigh = hip + share * (knee - hip) + np.array([0, figure.THIGH_HALF_M, 0])
    sheet.line("club", body["grip"], end)
    sheet.distance(sheet.at(thigh), sheet.at(end), tips="both")


def _holding(body: Body, across: str) -> Body:
    """The same golfer with both hands on a club held across hips or chest."""
    lead, trail = figure.bar_ends(body) if across == "hips" else _across_chest(body)
    middle, along = (lead + trail) / 2, (lead - trail) / figure.BAR_M
    joints = dict(body.joints)
    down = np.array([0.0, 0.0, -1.0])
    for side, sign in (("lead", 1), ("trail", -1)):
        # on the hips the hands stand wide; on the chest the arms are crossed
        hand = middle + (0.24 if across == "hips" else -0.14) * sign * along
        hand = _within_reach(joints[f"shoulder_{side}"], hand)
        joints[f"wrist_{side}"] = hand
        aside = down + (0.6 if across == "hips" else 0.2) * sign * along
        joints[f"elbow_{side}"] = figure.between(
            joints[f"shoulder_{side}"], hand, figure.UPPER_ARM, figure.FOREARM, aside
        )
    return Body(joints, body.club_head)


def _within_reach(shoulder: Array, hand: Array) -> Array:
    reach = 0.999 * (figure.UPPER_ARM + figure.FOREARM)
    step = hand - shoulder
    return np.asarray(shoulder + step * min(1.0, reach / float(np.linalg.norm(step))))


def _across_chest(body: Body) -> tuple[Array, Array]:
    along = (body["shoulder_lead"] - body["shoulder_trail"]) * np.array([1, 1, 0])
    along /= np.linalg.norm(along)
    ahead = np.array([-along[1], along[0], 0.0])
    centre = body["mid_shoulder"] + 0.10 * ahead - np.array([0, 0, 0.08])
    return centre + figure.BAR_M / 2 * along, centre - figure.BAR_M / 2 * along
