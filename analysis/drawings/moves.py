"""How each starter drill looks: three to five positions of a posed golfer.

A position is a moment of the sound swing with the drill's changes, so that what is drawn
can be measured: the first mark of a drill's ladder must count for whoever does exactly
this (`tests/coaching/practice/test_acted.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from analysis.core.measures import DTL, FO
from analysis.drawings.acting import Changes

ABOVE = "above"


@dataclass(frozen=True)
class Position:
    """One picture of a strip.

    Parameters
    ----------
    caption : str
        Two to five words.
    event : str
        The moment of the swing that it is; a pose before the swing is at `address`.
    changes : mapping
        Fields of `golfer.Pose` that differ from the sound swing there.
    moves : tuple of str
        Parts that this position is about: `hips`, `shoulders`, `arms`, `club`, `head`,
        `trunk`, `legs`.
    props : tuple
        Things in the room and marks of the drawing, as in `strips`: (`wall`, axis, metres),
        (`chair`, metres), (`stick`, two places), (`bar`, `hips` or `chest`), (`towel`,),
        (`arrow`, two places), (`ball`, x), (`foam`,), (`no ball`,), (`gap`,).
    club : bool
    by_the_way : bool
        Shown on the way to the drill's own positions and no part of how it is acted.
    shadow : mapping, optional
        What differs from the sound swing in the golfer who stands faintly behind, to show
        from where the drawn one has moved.
    close_up : str
        A hand of `analysis.drawings.hands` that is drawn in the golfer's place.
    """

    caption: str
    event: str
    changes: Mapping[str, Any] = field(default_factory=dict)
    moves: tuple[str, ...] = ()
    props: tuple[Any, ...] = ()
    club: bool = True
    by_the_way: bool = False
    shadow: Mapping[str, Any] | None = None
    close_up: str = ""


@dataclass(frozen=True)
class Move:
    """A drill as it is drawn and acted.

    `held` is the moment of the swing that its hold films stop at; `ball` where it lies,
    `acted` what else differs from the sound swing (clock, moments that are not drawn).
    """

    view: str
    positions: tuple[Position, ...]
    held: str = "top"
    ball: tuple[float, float] | None = None
    acted: Changes = field(default_factory=dict)
    clock: Mapping[str, float] = field(default_factory=dict)

    @property
    def changes(self) -> dict[str, dict[str, Any]]:
        """How its perfect doer differs from the sound swing."""
        told: dict[str, dict[str, Any]] = {e: dict(c) for e, c in self.acted.items()}
        for position in self.positions:
            if not position.by_the_way:
                told.setdefault(position.event, {}).update(position.changes)
        return told


def P(caption: str, event: str, *moves: str, props: Any = (), club: bool = True,
      by: bool = False, shadow: Any = None, close: str = "",
      **changes: Any) -> Position:  # fmt: skip
    return Position(caption, event, changes, moves, tuple(props), club, by, shadow, close)


_BAR_H, _BAR_C = (("bar", "hips"),), (("bar", "chest"),)
_BEYOND = (("stick", (-0.5, 1.10, 0.0), (0.6, 1.10, 0.0)),)
_FAR = (0.5, 0.90, 0.0)
_CHAIR = ("chair", -0.36)
_BEHIND = (("wall", 1, -0.235), ("plumb", 1, -0.055, 1.0))
_ALONG = ("stick", (-0.6, 1.0, 0.0), (0.6, 1.0, 0.0))
_STAND = P("Stand to the ball", "address")
_BEND_BAR = P("Bend, club on the hips", "address", props=_BAR_H, club=False)
_ARM_LEVEL: dict[str, Any] = {"shaft": (-0.05, -0.53, 0.75)}
_SLOW_THROUGH = P("Swing on to a finish", "finish", "trunk")

MOVES: dict[str, Move] = {
    "turn-with-a-club-on-the-hips": Move(ABOVE, (
        _BEND_BAR,
        P("Turn half of it", "lead_arm_back", "hips", props=_BAR_H, club=False, by=True),
        P("Along the stick; hold", "top", "hips", props=(*_BAR_H, ("turned", 45)), club=False,
          pelvis_turn=46),
        P("Then to the top", "top", "hips", "club", pelvis_turn=46))),
    "turn-with-a-club-on-the-chest": Move(ABOVE, (
        P("Bend, club on the chest", "address", props=_BAR_C, club=False),
        P("Turn, hips too", "lead_arm_back", "shoulders", props=_BAR_C, club=False, by=True),
        P("Chest over the trail foot", "top", "shoulders", props=_BAR_C, club=False,
          shoulder_turn=88),
        P("Then with the club", "top", "shoulders", "club", shoulder_turn=88))),
    "turn-with-an-open-foot": Move(FO, (
        P("Trail foot turned out", "address", "legs", props=_BAR_H, club=False, toe_out=25),
        P("Turn, lead heel free", "top", "hips", props=_BAR_H, club=False, pelvis_turn=42,
          toe_out=25),
        P("Then a slow backswing", "top", "hips", "club", pelvis_turn=42, toe_out=25))),
    "turn-in-a-doorway": Move(FO, (
        P("A hand from the chair", "address", props=(*_BAR_H, _CHAIR), club=False),
        P("Turn, do not touch", "top", "hips", props=(*_BAR_H, _CHAIR), club=False,
          hips=(-0.005, -0.12, 0.92)),
        P("Then with a club", "top", "hips", "club", hips=(-0.005, -0.12, 0.92)))),
    "lean-with-the-trail-hip": Move(FO, (
        P("Club on the chest", "address", props=_BAR_C, club=False),
        P("Trail hip behind you", "top", "trunk", props=_BAR_C, club=False, side=8,
          shoulder_turn=87),
        P("Chest over the trail leg", "top", "trunk", "club", side=8, shoulder_turn=87))),
    "head-beside-the-wall": Move(FO, (
        P("Nose at the mark", "address", props=(("mark", -0.03),)),
        P("Turn, head a little back", "top", "head", head=(-0.065, 0.31, 1.49),
          props=(("mark", -0.03),)),
        P("Hold and look", "top", "head", head=(-0.065, 0.31, 1.49), props=(("mark", -0.03),)))),
    "shaft-past-the-ball": Move(DTL, (
        P("A stick beyond the ball", "address", props=_BEYOND),
        P("Stop, lead arm level", "lead_arm_back", "club", props=(*_BEYOND, ("on",)),
          **_ARM_LEVEL),
        P("Turn on to the top", "top", "hips", "club", props=_BEYOND)), held="lead_arm_back"),
    "turn-and-lay-it-down": Move(DTL, (
        P("A stick beyond the ball", "address", props=_BEYOND),
        P("Hips turn, club lies down", "lead_arm_back", "hips", "club", props=(*_BEYOND, ("on",)),
          **_ARM_LEVEL),
        P("Turn to the top; hold", "top", "hips", pelvis_turn=46, props=_BEYOND)),
        acted={"late_back": {"pelvis_turn": 40}}),
    "shaft-not-too-flat": Move(DTL, (
        P("A stick beyond the ball", "address", props=_BEYOND),
        P("Stop, lead arm level", "lead_arm_back", "club", props=(*_BEYOND, ("on",)),
          **_ARM_LEVEL),
        P("Down the same way", "lead_arm_down", "club", props=_BEYOND)), held="lead_arm_back"),
    "shaft-on-line-at-arm-level": Move(DTL, (
        P("A stick beyond the ball", "address", props=_BEYOND),
        P("Lead arm level", "lead_arm_back", "club", props=(*_BEYOND, ("on",)), **_ARM_LEVEL),
        P("Turn on to the top", "top", "club", props=_BEYOND)), held="lead_arm_back"),
    "hands-behind-the-heel": Move(DTL, (
        P("No club; wall behind you", "address", props=(("wall", 1, -0.40),), club=False),
        P("Turn, hands near the wall", "top", "arms", props=(("wall", 1, -0.40),), club=False,
          arm=(-0.34, -0.57, 0.30), reach=0.61),
        P("Then with a club, no wall", "top", "arms", "club", arm=(-0.34, -0.57, 0.30),
          reach=0.61))),
    "let-it-fall-behind": Move(DTL, (
        P("Wait at the top", "top"),
        P("Hands sink, back stays", "transition", "arms", "club"),
        P("Lead arm level; stop", "lead_arm_down", "club", shaft=(-0.10, -0.62, 0.72)),
        _SLOW_THROUGH)),
    "lead-arm-across": Move(FO, (
        P("Arm long, hold the wrist", "address", "arms", club=False),
        P("Across the chest", "top", "arms", club=False, reach=0.614),
        P("Then with a club", "top", "arms", "club", reach=0.614))),
    "seat-on-the-wall": Move(DTL, (
        P("Seat touches the wall", "address", props=(("wall", 1, -0.215),), club=False),
        P("Turn back: trail pocket", "top", "hips", props=(("wall", 1, -0.215),), club=False),
        P("Turn through: lead pocket", "impact", "hips", props=(("wall", 1, -0.215),), club=False,
          hips=(0.07, -0.135, 0.93)),
        P("Then slow swings, no wall", "impact", "hips", hips=(0.07, -0.135, 0.93)))),
    "chest-over-the-ball": Move(DTL, (
        _STAND,
        P("Turn back", "top"),
        P("Chest stays down", "impact", "trunk", tilt=35, head=(-0.04, 0.31, 1.49)),
        _SLOW_THROUGH)),
    "belt-buckle-through": Move(FO, (
        _STAND,
        P("Turn back", "top", "hips"),
        P("Buckle past the ball", "impact", "hips", pelvis_turn=-42),
        _SLOW_THROUGH)),
    "brush-past-the-line": Move(FO, (
        P("A line in the middle", "address", props=(("line", 0.0),)),
        P("A short swing back", "lead_arm_back", "club", props=(("line", 0.0),)),
        P("Brush past the line", "impact", "club", "arms", props=(("line", 0.0),),
          shaft=(-0.145, 0.45, -0.83)),
        P("Arms long to here", "follow_through", "arms", props=(("line", 0.0),)))),
    "count-to-three": Move(FO, (
        P("“One”: it starts", "address"),
        P("“Two”, “three”", "lead_arm_back", "club"),
        P("“Four”: the top", "top", "club"),
        P("“Five”: the strike", "impact", "club")), clock={"top_s": 0.99, "impact_s": 1.32}),
    "toes-and-heels": Move(DTL, (
        P("Tip to the toes", "address", "trunk", hips=(0, -0.03, 0.925), head=(-0.03, 0.41, 1.46),
          club=False, by=True, shadow={}, props=(("arrow", (0, 0.26, 1.72), (0, 0.46, 1.72)),)),
        P("Tip to the heels", "address", "trunk", hips=(0, -0.23, 0.905), head=(-0.03, 0.19, 1.47),
          club=False, by=True, shadow={}, props=(("arrow", (0, 0.36, 1.72), (0, 0.16, 1.72)),)),
        P("Still in the middle", "address", club=False),
        P("Take the club", "address", "arms"))),
    "stand-tall-then-fold": Move(DTL, (
        P("Stand tall", "address", "trunk", hips=(0, -0.02, 0.95), tilt=4,
          head=(-0.03, 0.04, 1.62), arm=(-0.14, 0.10, -0.6), club=False, by=True),
        P("Seat back, fold", "address", "trunk", club=False),
        P("Take the club", "address", "arms"))),
    "seat-back-over-the-heels": Move(DTL, (
        P("Fold, seat on the wall", "address", "hips", hips=(0, -0.14, 0.93), club=False, by=True,
          props=_BEHIND),
        P("Slide off it, only just", "address", "hips", hips=(0, -0.10, 0.935), club=False,
          props=(*_BEHIND, ("arrow", (0, -0.10, 1.12), (0, 0.06, 1.12)))),
        P("Then take the club", "address", "arms", hips=(0, -0.10, 0.935)))),
    "soft-knees": Move(DTL, (
        P("Lock the knees gently", "address", "legs", hips=(0, -0.09, 0.955), club=False, by=True),
        P("Let them just give", "address", "legs", club=False, shadow={"hips": (0, -0.09, 0.955)},
          props=(("arrow", (0, -0.34, 1.06), (0, -0.34, 0.90)),)),
        P("Take the club", "address", "arms"))),
    "let-the-arms-hang": Move(DTL, (
        P("Fold, arms like ropes", "address", "arms", club=False, by=True,
          arm=(-0.14, 0.02, -0.62)),
        P("Palms together there", "address", "arms", club=False, by=True,
          arm=(-0.14, 0.10, -0.62)),
        P("A spread hand from the thigh", "address", "arms", "club", props=(("gap",),)))),
    "fist-from-the-thigh": Move(DTL, (
        P("Hands far out", "address", "arms", arm=(-0.14, 0.36, -0.50), by=True),
        P("Let them come in", "address", "arms", arm=(-0.14, 0.22, -0.58), by=True,
          shadow={"arm": (-0.14, 0.36, -0.50)}),
        P("A spread hand fits", "address", "arms", props=(("gap",),)))),
    "arm-and-club-from-the-ball": Move(DTL, (
        P("Fold, arms hang", "address", "arms", club=False, props=(("no ball",),)),
        P("Lower the club", "address", "club", props=(("no ball",),)),
        P("Ball where it lands", "address", "club"))),
    "feet-under-shoulders": Move(FO, (
        P("Two clubs from the shoulders", "address", club=False,
          props=(("lane", 0.17), ("plumb", 0, 0.17, 1.36), ("plumb", 0, -0.17, 1.36))),
        P("Heels on the clubs", "address", "legs", club=False, props=(("lane", 0.17),)),
        P("Turn both ways", "top", "trunk", club=False))),
    "handle-to-the-lead-thigh": Move(FO, (
        P("Club head square first", "address", "club", shaft=(0.03, 0.50, -0.74), by=True),
        P("Handle to the lead thigh", "address", "club", "arms", shaft=(-0.065, 0.50, -0.74),
          props=(("arrow", (0.18, 0.5, 0.60), (0.30, 0.5, 0.60)),)),
        P("Grip it there", "address", shaft=(-0.065, 0.50, -0.74)))),
    "even-feet-a-little-lean": Move(FO, (
        P("Even on both feet", "address", "legs", club=False, by=True, side=0,
          arm=(-0.26, 0.13, -0.60), reach=0.56),
        P("Trail hand lower, hips stay", "address", "trunk", club=False, shadow={
            "side": 0, "arm": (-0.26, 0.13, -0.60), "reach": 0.56}),
        P("Take the club", "address", "arms"))),
    "ball-and-two-tees": Move(FO, (
        P("Feet together, ball between", "address", "legs", half_stance=0.07, by=True,
          props=(("line", 0.03),)),
        P("Small step in front", "address", "legs", half_stance=0.15, by=True,
          props=(("line", 0.03), ("arrow", (0.08, 0, -0.09), (0.18, 0, -0.09)))),
        P("Larger step behind", "address", "legs",
          props=(("line", 0.03), ("arrow", (-0.08, 0, -0.09), (-0.27, 0, -0.09)))))),
    "ball-for-the-club": Move(FO, (
        P("Short club: the middle", "address", by=True, half_stance=0.18,
          props=(("ball", 0.0), ("line", 0.0))),
        P("Long club: the lead heel", "address", "club", shaft=(0.17, 0.52, -0.74),
          props=(("line", 0.16), ("arrow", (0.0, 0.8, -0.16), (0.16, 0.8, -0.16)))),
        P("Only the ball moves", "address", shaft=(0.17, 0.52, -0.74), props=(("line", 0.16),))),
        ball=(0.16, 0.80)),
    "fingers-then-thumb": Move(FO, (
        P("Handle in the fingers", "address", close="open"),
        P("Close, then the thumb", "address", close="closed"),
        P("Lift it with three", "address", close="three"))),
    "two-clubs-on-the-ground": Move(ABOVE, (
        P("One to the target", "address", props=(("stick", (-0.5, 0.90, 0), _FAR),)),
        P("One along the toes", "address", "legs",
          props=(("stick", (-0.5, 0.90, 0), _FAR), ("stick", (-0.5, 0.24, 0), (0.5, 0.24, 0)))),
        P("Face first, then feet", "address", "club", "legs",
          props=(("stick", (-0.5, 0.24, 0), (0.5, 0.24, 0)),)))),
    "shoulders-with-the-feet": Move(ABOVE, (
        P("A club along the toes", "address", "legs",
          props=(("stick", (-0.5, 0.24, 0), (0.5, 0.24, 0)),)),
        P("One across the chest", "address", "shoulders", props=_BAR_C, club=False),
        P("Both lie alike", "address", "shoulders",
          props=(*_BAR_C, ("stick", (-0.5, 0.24, 0), (0.5, 0.24, 0))), club=False))),
    "watch-and-wrist": Move(FO, (
        P("To the top, and hold", "top", "arms"),
        P("Cupped: a bend", "top", close="cupped"),
        P("Bowed: a bend too", "top", close="bowed"),
        P("Flat: one straight line", "top", close="flat"))),
    "first-foam-ball": Move(FO, (
        P("Rehearse three times, no ball", "lead_arm_back", "club", props=(("no ball",),)),
        P("Step to the foam ball", "address", props=(("foam",),)),
        P("The same, ever so slow", "impact", "club", props=(("foam",),)))),
    "random-clubs": Move(FO, (
        P("A club, a target", "address", "club", props=(("clubs", 0),)),
        P("One swing", "top", "club", props=(("clubs", 0),)),
        P("Another club, another target", "address", "club", props=(("clubs", 2),)))),
    "hip-past-the-stick": Move(FO, (
        P("A bag beside the lead hip", "address", props=(("post", 0, 0.36, 0.90),)),
        P("Turn back", "top", "hips", props=(("post", 0, 0.36, 0.90),)),
        P("Turn, do not push it over", "impact", "hips", props=(("post", 0, 0.36, 0.90),)),
        P("Turn all the way", "finish", "hips"))),
    "stand-on-the-lead-leg": Move(FO, (
        _STAND,
        P("Back", "top"),
        P("Onto the lead foot", "impact", "hips", "trunk", hips=(0.10, -0.125, 0.925), side=7,
          head=(-0.02, 0.31, 1.50)),
        P("Trail foot on its toe", "finish", "trunk"))),
    "hold-the-finish": Move(FO, (
        P("Swing", "impact", "club"),
        P("All the way round", "finish", "trunk"),
        P("Stand; count to three", "finish", hips=(0.16, -0.04, 0.925), head=(0.12, 0.12, 1.60)))),
    "stop-at-level": Move(FO, (
        _STAND,
        P("Lead arm level", "lead_arm_back", "arms"),
        P("A little more; stop", "top", "club", "arms", arm=(-0.46, -0.44, 0.20),
          shaft=(0.86, -0.28, 0.30)),
        _SLOW_THROUGH)),
    "long-arms-through": Move(FO, (
        P("A towel across the chest", "address", "arms", props=(("towel",),)),
        P("Half back", "lead_arm_back", "arms", props=(("towel",),)),
        P("Half through, arms long", "follow_through", "arms", props=(("towel",),)))),
    "angle-past-the-leg": Move(FO, (
        P("To the top", "top"),
        P("Arm level, club still up", "lead_arm_down", "arms", "club", shaft=(0.20, -0.50, 0.80)),
        P("Back up, and again", "transition", "arms"),
        P("Third time: swing", "finish", "trunk")),
        acted={"delivery": {"shaft": (-0.98, -0.10, 0.0)}}),
    "hands-down-the-inside": Move(DTL, (
        P("To the top", "top"),
        P("Hands down, back stays", "lead_arm_down", "arms", arm=(-0.58, -0.26, 0.0),
          shaft=(-0.10, -0.62, 0.72)),
        P("Then turn through", "impact", "hips"),
        _SLOW_THROUGH)),
    "head-at-one-height": Move(FO, (
        P("Hat brim at the mark", "address", props=(("level", 1.60),)),
        P("Brim stays going back", "top", "head", props=(("level", 1.60),)),
        P("And coming through", "impact", "head", props=(("level", 1.60),),
          head=(-0.04, 0.31, 1.495)))),
    "one-piece-start": Move(DTL, (
        P("Stand to the ball", "address"),
        P("Chest and club start", "address", "trunk", "club", shoulder_turn=14, pelvis_turn=5,
          arm=(-0.26, 0.12, -0.62), shaft=(-0.30, 0.42, -0.72), by=True),
        P("Club level: head covers hands", "address", "trunk", "club", shoulder_turn=30,
          pelvis_turn=14, arm=(-0.40, 0.10, -0.48), shaft=(-0.95, 0.05, 0.0), by=True))),
    "club-on-line-at-the-top": Move(ABOVE, (
        P("To the top; hold", "top", "club", shaft=(0.80, -0.50, 0.0), by=True, props=(_ALONG,)),
        P("Look: it points across", "top", "club", shaft=(0.80, -0.50, 0.0), by=True,
          props=(_ALONG, ("look", 60.0))),
        P("Lay it along the line", "top", "club", shaft=(0.97, -0.02, 0.0), props=(_ALONG,)))),
    "set-then-turn": Move(FO, (
        P("Stand to the ball", "address"),
        P("Set the club up, arms level", "lead_arm_back", "club", "arms",
          shaft=(0.12, -0.45, 0.80)),
        P("Turn to the top", "top", "trunk", "club"))),
}  # fmt: skip
