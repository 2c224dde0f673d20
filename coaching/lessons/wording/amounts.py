"""Numbers in the reader's unit: values with their ±, and what was asked for."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from coaching.lessons.estimates import band_of
from coaching.lessons.wording.naming import at_event, sided

TURNS = {"pelvis_turn_deg", "shoulder_turn_deg"}

_IMPERIAL = {"cm": ("in", 1 / 2.54), "m/s": ("mph", 2.2369363)}

_SIGNS = {"deg": "°", "%": " %", "cm": " cm", "in": " in", "s": " s", "m/s": " m/s", "mph": " mph"}


def unit_of(measure: str) -> str:
    """The unit a measure is stored in, from its id."""
    for ending, unit in (
        ("_deg", "deg"),
        ("_pct", "%"),
        ("_cm", "cm"),
        ("_m_s", "m/s"),
        ("_s", "s"),
    ):
        if measure.endswith(ending):
            return unit
    return ""


def shown(value: float, unit: str, *, imperial: bool = False) -> tuple[float, str]:
    """A stored value in the reader's unit: (number, unit)."""
    if imperial and unit in _IMPERIAL:
        name, factor = _IMPERIAL[unit]
        return value * factor, name
    return value, unit


def number_words(value: float, places: int) -> str:
    """A number with a real minus sign, and no "−0"."""
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def places_for(unit: str, uncertainty: float | None) -> int:
    """Decimals worth showing: none once ± is above one, never more than two."""
    if unit in {"s", ""}:
        return 2
    return 0 if uncertainty is None or 2 * uncertainty >= 1 else 1


# What a value below zero says, where the sign alone says nothing to a reader.
BELOW_ZERO: dict[str, Any] = {
    "hand_depth_cm": _l("%s short of the heel"),
    "trunk_tilt_change_deg": _l("%s of bend lost"),
    "shaft_aim_deg": _l("%s inside the ball"),
    "shaft_aim_cm": _l("%s inside the ball"),
    "pelvis_behind_heel_cm": _l("%s ahead of the heels"),
    "pelvis_to_ball_cm": _l("%s away from the ball"),
    "pelvis_to_ball_down_cm": _l("%s away from the ball"),
    "pelvis_rise_cm": _l("%s lower"),
    "head_rise_cm": _l("%s lower"),
    "pelvis_sway_cm": _l("%s toward the target"),
    "head_sway_cm": _l("%s toward the target"),
    "side_tilt_deg": _l("%s toward the target"),
    "trail_hip_depth_cm": _l("%s toward the ball"),
    "handle_lean_deg": _l("%s away from the target"),
    "hands_path_cm": _l("%s nearer to you"),
    "steepening_deg": _l("%s flatter"),
    "shaft_past_level_deg": _l("%s short of level"),
    "lead_arm_up_deg": _l("%s below level"),
    "hip_line_tilt_deg": _l("%s lower"),
    "shoulder_to_feet_deg": _l("%s toward the target"),
    "ball_position_pct": _l("%s outside the lead heel"),
    "lead_elbow_deg": _l("%s past straight"),
    "knee_flex_deg": _l("%s past straight"),
}
# What stands across from it, where a band has an end on each side.
ABOVE_ZERO: dict[str, Any] = {
    "hand_depth_cm": _l("%s behind the heel"),
    "trunk_tilt_change_deg": _l("%s of bend added"),
    "shaft_aim_deg": _l("%s past the ball"),
    "shaft_aim_cm": _l("%s past the ball"),
    "pelvis_behind_heel_cm": _l("%s behind the heels"),
    "pelvis_to_ball_cm": _l("%s toward the ball"),
    "pelvis_to_ball_down_cm": _l("%s toward the ball"),
    "pelvis_rise_cm": _l("%s higher"),
    "head_rise_cm": _l("%s higher"),
    "pelvis_sway_cm": _l("%s away from the target"),
    "head_sway_cm": _l("%s away from the target"),
    "side_tilt_deg": _l("%s away from the target"),
    "trail_hip_depth_cm": _l("%s away from the ball"),
    "handle_lean_deg": _l("%s toward the target"),
    "hands_path_cm": _l("%s further out"),
    "steepening_deg": _l("%s steeper"),
    "shaft_past_level_deg": _l("%s past level"),
    "lead_arm_up_deg": _l("%s above level"),
    "hip_line_tilt_deg": _l("%s higher"),
    "shoulder_to_feet_deg": _l("%s away from the target"),
    "ball_position_pct": _l("%s inside it"),
}


def value_words(
    value: float,
    uncertainty: float | None = None,
    *,
    unit: str = "",
    measure: str = "",
    event: str = "",
    imperial: bool = False,
) -> str:
    """`38° ± 4 at the top`; below zero in words: `open 35° ± 4`, `14 cm ± 4 short of the heel`."""
    unit = unit or unit_of(measure)
    value, to = shown(value, unit, imperial=imperial)
    spread = None if uncertainty is None else shown(uncertainty, unit, imperial=imperial)[0]
    places = places_for(to, spread)
    is_below = value < 0 and number_words(value, places) != number_words(0, places)
    says_how = is_below and (measure in TURNS or measure in BELOW_ZERO)
    text = number_words(-value if says_how else value, places) + _SIGNS.get(to, "")
    if spread is not None:
        text += f" ± {number_words(2 * spread, places)}"
    if says_how and measure in TURNS:
        text = _("open %(turn)s") % {"turn": text}
    elif says_how:
        text = sided(BELOW_ZERO[measure]) % text
    return f"{text} {at_event(event)}" if event else text


def band_words(
    comparison: str,
    *,
    low: float | None = None,
    high: float | None = None,
    change: float | None = None,
    measure: str = "",
    unit: str = "",
    imperial: bool = False,
) -> str:
    """What was asked for: `40–45°`, `at least 40°`, `at least 6 cm less than before`."""
    unit = unit or unit_of(measure)

    says_how = measure in ABOVE_ZERO

    def plain(value: float, sign: bool = True) -> str:
        number, to = shown(value, unit, imperial=imperial)
        places = 2 if to in {"s", ""} else int(abs(number - round(number)) > 0.05)
        return number_words(number, places) + (_SIGNS.get(to, "") if sign else "")

    def one(value: float) -> str:
        if measure in TURNS and value < 0:
            return _("open %(turn)s") % {"turn": plain(-value)}
        if says_how and value:
            return sided((BELOW_ZERO if value < 0 else ABOVE_ZERO)[measure]) % plain(abs(value))
        return plain(value)

    if comparison == "changed_by" and change is not None:
        text = (
            _("at least %s more than before") if change >= 0 else _("at least %s less than before")
        )
        return text % plain(abs(change))
    band = band_of(comparison, low=low, high=high)
    if band is None:
        return ""
    low, high = band.edges
    if low is not None and high is not None:
        if measure in TURNS and low < 0:
            if high <= 0:
                spread = f"{plain(-high, sign=False)}–{plain(-low)}"
                return _("open %(turn)s") % {"turn": spread}
            return _("%(low)s to %(high)s") % {"low": one(low), "high": one(high)}
        if says_how and high <= 0:
            return sided(BELOW_ZERO[measure]) % f"{plain(-high, sign=False)}–{plain(-low)}"
        if says_how and low < 0:
            return _("between %(low)s and %(high)s") % {"low": one(low), "high": one(high)}
        if low < 0:
            return _("%(low)s to %(high)s") % {"low": plain(low, sign=False), "high": plain(high)}
        return f"{plain(low, sign=False)}–{plain(high)}"
    # Being open is a negative turn: "at most −30" is asked for as "open at least 30".
    if low is not None:
        if measure in TURNS and low < 0:
            return _("open at most %s") % plain(-low)
        # Below zero "at least" is "at most" the other way: 2 cm toward the target, not −2 cm.
        if says_how and low < 0:
            return _("at most %s") % one(low)
        return _("at least %s") % plain(low)
    if high is not None:
        if measure in TURNS and high < 0:
            return _("open at least %s") % plain(-high)
        if says_how and high < 0:
            return _("at least %s") % one(high)
        return _("at most %s") % plain(high)
    return ""


def stature_words(stature_cm: float | None, *, imperial: bool = False) -> str:
    """`178 cm` or `5 ft 10 in`."""
    if stature_cm is None:
        return ""
    if not imperial:
        return f"{number_words(stature_cm, 0)} cm"
    feet, inches = divmod(round(stature_cm / 2.54), 12)
    return _("%(feet)s ft %(inches)s in") % {"feet": feet, "inches": inches}
