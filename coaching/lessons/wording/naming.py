"""Names of measures, moments, views and films, sided by the hand of whoever reads."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.utils.translation import gettext_lazy as _l

from coaching.people import sides

# id: (short name, what it says to a student)
MEASURES: dict[str, tuple[Any, Any]] = {
    "trunk_tilt_deg": (_l("forward bend"), _l("how far you lean forward from the hips")),
    "knee_flex_deg": (_l("knee flex"), _l("how much your knees bend")),
    "arm_hang_deg": (_l("arm hang"), _l("how far your arms hang away from the body")),
    "balance_pct": (
        _l("balance over the feet"),
        _l("where your weight stands on the foot: 0 is the heel, 100 the tip of the toes"),
    ),
    "pelvis_behind_heel_cm": (
        _l("pelvis behind the heels"),
        _l("how far your hips stand behind the heels"),
    ),
    "hands_thigh_cm": (
        _l("hands from the thighs"),
        _l("how far your hands hang in front of the middle of your thighs"),
    ),
    "ball_distance_cm": (_l("ball from the toes"), _l("how far the ball lies from your toes")),
    "shoulder_to_feet_deg": (
        _l("shoulders against the feet"),
        _l("how far your shoulders point away from where your toes do"),
    ),
    "balance_side_pct": (
        _l("balance between the feet"),
        _l("where your weight stands between the feet: 0 is the lead one, 100 the trail one"),
    ),
    "arm_torso_ratio": (_l("arms to trunk"), _l("how long your arms are for your trunk")),
    "stance_ratio": (
        _l("stance width"),
        _l("how wide you stand: 1 is as wide as the shoulders"),
    ),
    "ball_position_pct": (
        _l("ball position"),
        _l("where the ball lies between the heels: 0 is the lead heel, 100 the trail heel"),
    ),
    "side_tilt_deg": (_l("side bend"), _l("how far you lean to the side, away from the target")),
    "pelvis_turn_deg": (_l("pelvis turn"), _l("how far your hips have turned")),
    "shoulder_turn_deg": (_l("shoulder turn"), _l("how far your shoulders have turned")),
    "bar_turn_deg": (_l("turn of the held club"), _l("how far the club you hold has turned")),
    "separation_deg": (
        _l("shoulders against hips"),
        _l("how much further the shoulders have turned than the hips"),
    ),
    "hip_line_tilt_deg": (_l("hip line tilt"), _l("how much higher the trail hip is")),
    "trail_hip_depth_cm": (
        _l("trail hip depth"),
        _l("how far the trail hip has moved away from the ball"),
    ),
    "pelvis_to_ball_cm": (
        _l("early extension (hips toward the ball)"),
        _l("how far your hips have moved toward the ball"),
    ),
    "pelvis_to_ball_down_cm": (
        _l("early extension in the downswing"),
        _l("how far your hips move toward the ball on the way down"),
    ),
    "pelvis_rise_cm": (_l("pelvis rise"), _l("how far your hips have risen")),
    "pelvis_sway_cm": (
        _l("pelvis sway"),
        _l("how far your hips have moved sideways, away from the target"),
    ),
    "head_sway_cm": (
        _l("head sway"),
        _l("how far your head has moved sideways, away from the target"),
    ),
    "head_rise_cm": (_l("head rise"), _l("how far your head has risen")),
    "trunk_tilt_change_deg": (
        _l("change of forward bend"),
        _l("how much your forward lean has changed"),
    ),
    "hand_depth_cm": (_l("hand depth"), _l("how far your hands are behind the trail heel")),
    "lead_elbow_deg": (_l("lead elbow bend"), _l("how much the lead arm bends")),
    "hands_path_cm": (
        _l("path of the hands coming down"),
        _l("how much nearer to the ball your hands come down than they went back"),
    ),
    "lead_arm_up_deg": (
        _l("lead arm above level"),
        _l("how far the lead arm is above level"),
    ),
    "wrist_set_deg": (
        _l("wrist set"),
        _l("the angle between the lead forearm and the club: 0 is one line"),
    ),
    "shaft_past_level_deg": (
        _l("club past level"),
        _l("how far the club has gone past level, toward the ground"),
    ),
    "handle_lean_deg": (
        _l("shaft lean"),
        _l("how far the handle leans toward the target"),
    ),
    "shaft_pitch_deg": (
        _l("shaft pitch"),
        _l("how steep the club is: 90 stands upright"),
    ),
    "steepening_deg": (
        _l("steepening of the club"),
        _l("how much steeper the club comes down than it went back"),
    ),
    "shaft_aim_deg": (
        _l("shaft aim"),
        _l("how far past the ball a line along the club points"),
    ),
    "shaft_aim_cm": (
        _l("shaft aim on the ground"),
        _l("how far past the ball a line along the club meets the ground"),
    ),
    "backswing_s": (_l("backswing"), _l("how long the way back takes")),
    "downswing_s": (_l("downswing"), _l("how long the way down takes")),
    "tempo_ratio": (
        _l("tempo"),
        _l("how many times longer the way back takes than the way down"),
    ),
    "hand_speed_peak_m_s": (
        _l("peak hand speed"),
        _l("how fast your hands get on the way down"),
    ),
    "pelvis_speed_peak_s": (
        _l("pelvis fastest"),
        _l("how long before the strike the hips turn fastest"),
    ),
    "shoulder_speed_peak_s": (
        _l("shoulders fastest"),
        _l("how long before the strike the shoulders turn fastest"),
    ),
    "hand_speed_peak_s": (
        _l("hands fastest"),
        _l("how long before the strike the hands are fastest"),
    ),
    "finish_held_s": (
        _l("finish held"),
        _l("how long you stand still at the end of the swing, counted up to three seconds"),
    ),
}

# event: (its name, the words that follow a figure)
EVENTS: dict[str, tuple[Any, Any]] = {
    "address": (_l("address"), _l("at address")),
    "takeaway": (_l("takeaway"), _l("at the takeaway")),
    "lead_arm_back": (_l("arm level back"), _l("as the lead arm is level going back")),
    "late_back": (_l("late backswing"), _l("late in the backswing")),
    "top": (_l("top"), _l("at the top")),
    "transition": (_l("transition"), _l("in transition")),
    "lead_arm_down": (_l("arm level down"), _l("as the lead arm is level coming down")),
    "delivery": (_l("delivery"), _l("at delivery")),
    "impact": (_l("impact"), _l("at impact")),
    "follow_through": (_l("follow-through"), _l("in the follow-through")),
    "finish": (_l("finish"), _l("at the finish")),
}

VIEWS: dict[str, tuple[Any, Any]] = {
    "down_the_line": (_l("down the line"), _l("down the line")),
    "face_on": (_l("face on"), _l("face on")),
    "rear": (_l("rear"), _l("from behind you")),
    "overhead": (_l("overhead"), _l("from above")),
    "other": (_l("another angle"), _l("from where you like")),
}

KINDS: dict[str, Any] = {
    "setup": _l("standing at address"),
    "hold": _l("to the top, and hold"),
    "rehearsal": _l("slow rehearsal"),
    "swing": _l("swing"),
    "bar": _l("turn with a club held across"),
}

# Where a bar film's club is held: the film, and the turn it shows.
ACROSS: dict[str, tuple[Any, Any]] = {
    "hips": (_l("turn with a club across the hips"), _l("turn of the hips")),
    "chest": (_l("turn with a club across the chest"), _l("turn of the shoulders")),
}

# The hand of the student who reads: "" where a coach reads, who says lead and trail.
_hand: ContextVar[str] = ContextVar("hand", default="")

_LEFT_OR_RIGHT = {
    "right": {"lead": _l("left"), "trail": _l("right")},
    "left": {"lead": _l("right"), "trail": _l("left")},
}

_HALVES = ("lead", "trail")

_SIDE = re.compile(r"\b(lead|trail)\b")


@contextmanager
def sides_of(handedness: str) -> Iterator[None]:
    """Inside, a side is worded as left or right by the hand of whoever reads."""
    token = _hand.set(handedness)
    try:
        yield
    finally:
        _hand.reset(token)


def side_word(side: str) -> str:
    """`left` of the lead side of a right-handed student who reads; else `lead`."""
    return str(_LEFT_OR_RIGHT[_hand.get()][side]) if _hand.get() and side in _HALVES else side


def as_read(text: str) -> str:
    """What somebody typed, with left and right where its reader is a student."""
    return sides.for_student(text, _hand.get()) if _hand.get() else text


def sided(text: Any) -> str:
    """Words for what the computer knows, with its sides as the reader says them."""
    return _SIDE.sub(lambda found: side_word(found.group(1)), str(text))


def label_of(measure: str, event: str = "") -> str:
    """`pelvis turn at the top`."""
    name = sided(MEASURES[measure][0]) if measure in MEASURES else measure.replace("_", " ")
    return f"{name} {at_event(event)}" if event else name


def meaning_of(measure: str) -> str:
    """What the figure says, for a student; empty when the measure is unknown."""
    return sided(MEASURES[measure][1]) if measure in MEASURES else ""


def at_event(event: str) -> str:
    return sided(EVENTS[event][1]) if event in EVENTS else event.replace("_", " ")


def event_name(event: str) -> str:
    return sided(EVENTS[event][0]) if event in EVENTS else event.replace("_", " ")


def view_name(view: str) -> str:
    return str(VIEWS[view][0]) if view in VIEWS else view.replace("_", " ")


def view_from(view: str) -> str:
    """`down the line`."""
    return str(VIEWS[view][1]) if view in VIEWS else view.replace("_", " ")


def kind_name(kind: str) -> str:
    return str(KINDS[kind]) if kind in KINDS else kind.replace("_", " ")


def film_name(kind: str, across: str = "") -> str:
    """A kind of film; of a turn with a held club also where it is held."""
    return str(ACROSS[across][0]) if kind == "bar" and across in ACROSS else kind_name(kind)
