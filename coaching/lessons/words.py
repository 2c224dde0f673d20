"""Every word for what the computer knows: measures, moments, readings, codes.

Templates, mail, API examples and PDF take their words here, so that a figure reads the
same everywhere. ± is two standard deviations: the truth lies inside 19 times out of 20.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import ngettext

from coaching.lessons.reading import CANT_TELL, IN, OUT, band_of, reading_of

__all__ = ["band_of", "reading_of"]

# id: (short name, what it says to a student)
MEASURES: dict[str, tuple[Any, Any]] = {
    "trunk_tilt_deg": (_l("trunk tilt"), _l("how far you lean forward from the hips")),
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
    "arm_torso_ratio": (_l("arms to trunk"), _l("how long your arms are for your trunk")),
    "stance_ratio": (
        _l("stance width"),
        _l("how wide you stand: 1 is as wide as the shoulders"),
    ),
    "ball_position_pct": (
        _l("ball position"),
        _l("where the ball lies between the heels: 0 is the front heel, 100 the back one"),
    ),
    "side_tilt_deg": (_l("side tilt"), _l("how far you lean to the side, away from the target")),
    "pelvis_turn_deg": (_l("pelvis turn"), _l("how far your hips have turned")),
    "shoulder_turn_deg": (_l("shoulder turn"), _l("how far your shoulders have turned")),
    "bar_turn_deg": (_l("turn of the held club"), _l("how far the club you hold has turned")),
    "separation_deg": (
        _l("separation"),
        _l("how much further the shoulders have turned than the hips"),
    ),
    "hip_line_tilt_deg": (_l("hip line tilt"), _l("how much higher the back hip is")),
    "trail_hip_depth_cm": (
        _l("trail hip depth"),
        _l("how far the back hip has moved away from the ball"),
    ),
    "pelvis_to_ball_cm": (
        _l("pelvis toward the ball"),
        _l("how far your hips have moved toward the ball"),
    ),
    "pelvis_to_ball_down_cm": (
        _l("pelvis toward the ball in the downswing"),
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
        _l("change of trunk tilt"),
        _l("how much your forward lean has changed"),
    ),
    "hand_depth_cm": (_l("hand depth"), _l("how far your hands are behind the back heel")),
    "lead_elbow_deg": (_l("lead elbow bend"), _l("how much the front arm bends")),
    "handle_lean_deg": (
        _l("handle lean"),
        _l("how far the handle leans toward the target"),
    ),
    "shaft_pitch_deg": (
        _l("shaft pitch"),
        _l("how steep the club is: 90 stands upright"),
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
}

# event: (its name, the words that follow a figure)
EVENTS: dict[str, tuple[Any, Any]] = {
    "address": (_l("address"), _l("at address")),
    "takeaway": (_l("takeaway"), _l("at the takeaway")),
    "lead_arm_back": (_l("lead arm level, back"), _l("as the lead arm is level going back")),
    "late_back": (_l("late backswing"), _l("late in the backswing")),
    "top": (_l("top"), _l("at the top")),
    "transition": (_l("transition"), _l("in transition")),
    "lead_arm_down": (_l("lead arm level, down"), _l("as the lead arm is level coming down")),
    "delivery": (_l("delivery"), _l("at delivery")),
    "impact": (_l("impact"), _l("at impact")),
    "follow_through": (_l("follow-through"), _l("in the follow-through")),
    "finish": (_l("finish"), _l("at the finish")),
}

VIEWS: dict[str, tuple[Any, Any]] = {
    "down_the_line": (_l("down the line"), _l("from behind the line")),
    "face_on": (_l("face on"), _l("from the front")),
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

READINGS: dict[str, Any] = {
    IN: _l("in the band"),
    OUT: _l("out of the band"),
    CANT_TELL: _l("can’t tell"),
}


@dataclass(frozen=True)
class Told:
    """What was seen, and what to do about it. Each is one sentence."""

    seen: Any
    do: Any

    def __str__(self) -> str:
        return f"{self.seen} {self.do}"


# Quality codes of a clip: what the student reads after "checking".
QUALITY: dict[str, Told] = {
    "unreadable": Told(
        _l("We couldn’t open this file as a film."),
        _l("Send the clip straight from your phone’s camera, or film it again."),
    ),
    "too_short": Told(
        _l("This file holds a picture, not a film."),
        _l("Press record, count to two, swing, count to two and stop."),
    ),
    "too_long": Told(
        _l("This clip is longer than three minutes."),
        _l("Cut it to the swings on your phone and send it again."),
    ),
    "nobody": Told(
        _l("We couldn’t find you in the picture."),
        _l("Set the phone upright at hand height, four steps away, and film again."),
    ),
    "several_people": Told(
        _l("We see more than one person."),
        _l("Film again with only yourself in the picture."),
    ),
    "body_cut": Told(
        _l("Part of you is outside the picture."),
        _l("Step the phone two paces back, so that head, feet and club fit, and film again."),
    ),
    "too_small": Told(
        _l("You are very small in the picture."),
        _l("Bring the phone closer, until you fill two thirds of its height, and film again."),
    ),
    "too_dark": Told(
        _l("The picture is too dark to measure."),
        _l("Film with the light behind the phone, or outside."),
    ),
    "blurred": Told(
        _l("The picture is blurred where you move."),
        _l("Wipe the lens, find more light, and film again."),
    ),
    "low_rate": Told(
        _l("The camera took too few pictures a second."),
        _l("Set it to 60 pictures a second or more and film again."),
    ),
    "camera_moves": Told(
        _l("The camera moves during the swing."),
        _l("Stand the phone on a bag or a tripod, so that nobody holds it, and film again."),
    ),
    "wrong_view": Told(
        _l("This is filmed from another side than was asked."),
        _l("Look at the sketch, move the phone there, and film again."),
    ),
    "wrong_hand": Told(
        _l("The swing goes the other way round than we expected."),
        _l("Switch off mirroring in your camera, or correct your handedness under You."),
    ),
    "no_swing": Told(
        _l("We see you stand, but no swing."),
        _l("Record until the swing is over, and send it again."),
    ),
    "fewer_swings": Told(
        _l("There are fewer swings in this clip than were asked for."),
        _l("Film all of them in one go, or send the missing ones as another clip."),
    ),
    "off_line": Told(
        _l("The phone stands a little off the line, so some figures are less sure."),
        _l("Next time put it exactly in line with your hands and the target."),
    ),
    "slow_motion": Told(
        _l("This is a slow-motion export, so tempo and speed can’t be measured."),
        _l("Send the original clip if you want them."),
    ),
    "view_not_measured": Told(
        _l("Nothing is measured from this angle."), _l("Your coach looks at it as it is.")
    ),
}

# Codes of a run that could not be finished.
RUN_ERRORS: dict[str, Told] = {
    **{code: QUALITY[code] for code in ("unreadable", "too_short", "too_long")},
    "media_missing": Told(
        _l("We couldn’t reach the stored clip just now."),
        _l("Try again in a few minutes; if it stays so, send the clip again."),
    ),
    "worker_lost": Told(
        _l("Measuring was interrupted several times."),
        _l("Your clip is safe: press “Measure again”."),
    ),
    "disk_full": Told(
        _l("We ran out of room while measuring."),
        _l("Your clip is safe: press “Measure again” later, or wait for your coach."),
    ),
    "erased": Told(_l("This clip was erased, as you asked."), _l("Film again when you like.")),
    "timed_out": Told(
        _l("Measuring took too long and was stopped."),
        _l("Your clip is safe: cut it to the swings and send it again, or wait for your coach."),
    ),
    "internal": Told(
        _l("Something went wrong on our side."),
        _l("Your clip is safe: press “Measure again”, or wait for your coach."),
    ),
}

# Where a clip is, as its student reads it.
CLIP_STATES: dict[str, Any] = {
    "checking": _l("Checking"),
    "refused": _l("Please film it again"),
    "copying": _l("Good to use"),
    "measuring": _l("Good to use; measuring"),
    "ready": _l("With your coach"),
    "failed": _l("Stopped on our side"),
    "reviewed": _l("Answered"),
}

# Why a figure or an event is absent.
REASONS: dict[str, Any] = {
    "not_ready": _l("not measured yet"),
    "not_reached": _l("the swing never gets there"),
    "not_seen": _l("we couldn’t see it"),
    "no_swing": _l("there is no swing"),
    "shaft_end_on": _l("the club points at the camera there"),
    "shaft_level": _l("the club is too level there to aim"),
    "slow_motion": _l("a slow-motion export keeps no true time"),
    "view_not_measured": _l("not measured from this angle"),
    "no_ball": _l("there is no ball to compare with"),
    "no_still_address": _l("you don’t stand still before this one"),
    "unfamiliar": _l("a pose unlike any we can judge"),
    "low_rate": _l("too few pictures a second"),
    "no_club_length": _l("we don’t know how long the held club is"),
    "bar_end_hidden": _l("an end of the club is hidden"),
}

_TURNS = {"pelvis_turn_deg", "shoulder_turn_deg"}
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


def label_of(measure: str, event: str = "") -> str:
    """`pelvis turn at the top`."""
    name = str(MEASURES[measure][0]) if measure in MEASURES else measure.replace("_", " ")
    return f"{name} {at_event(event)}" if event else name


def meaning_of(measure: str) -> str:
    """What the figure says, for a student; empty when the measure is unknown."""
    return str(MEASURES[measure][1]) if measure in MEASURES else ""


def at_event(event: str) -> str:
    return str(EVENTS[event][1]) if event in EVENTS else event.replace("_", " ")


def event_name(event: str) -> str:
    return str(EVENTS[event][0]) if event in EVENTS else event.replace("_", " ")


def view_name(view: str) -> str:
    return str(VIEWS[view][0]) if view in VIEWS else view.replace("_", " ")


def view_from(view: str) -> str:
    """`from behind the line`."""
    return str(VIEWS[view][1]) if view in VIEWS else view.replace("_", " ")


def kind_name(kind: str) -> str:
    return str(KINDS[kind]) if kind in KINDS else kind.replace("_", " ")


def film_name(kind: str, across: str = "") -> str:
    """A kind of film; of a turn with a held club also where it is held."""
    return str(ACROSS[across][0]) if kind == "bar" and across in ACROSS else kind_name(kind)


def reading_words(reading: str | None) -> str:
    return str(READINGS[reading]) if reading else ""


def quality_told(code: str) -> Told:
    """What to tell about a quality code; an unknown code tells what to do all the same."""
    return QUALITY.get(code) or Told(
        _l("We couldn’t judge this clip."), _l("Film it again as in the sketch.")
    )


def run_error_told(code: str) -> Told:
    return RUN_ERRORS.get(code) or QUALITY.get(code) or RUN_ERRORS["internal"]


def reason_words(code: str) -> str:
    return str(REASONS.get(code) or (QUALITY[code].seen if code in QUALITY else _("not measured")))


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


def value_words(
    value: float,
    uncertainty: float | None = None,
    *,
    unit: str = "",
    measure: str = "",
    event: str = "",
    imperial: bool = False,
) -> str:
    """`38° ± 4 at the top`; a turn past square reads `open 35° ± 4 at impact`."""
    unit = unit or unit_of(measure)
    value, to = shown(value, unit, imperial=imperial)
    spread = None if uncertainty is None else shown(uncertainty, unit, imperial=imperial)[0]
    places = places_for(to, spread)
    text = number_words(value, places) + _SIGNS.get(to, "")
    if measure in _TURNS and value < 0 and number_words(value, places) != number_words(0, places):
        text = _("open %(turn)s") % {"turn": number_words(-value, places) + _SIGNS.get(to, "")}
    if spread is not None:
        text += f" ± {number_words(2 * spread, places)}"
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

    def plain(value: float, sign: bool = True) -> str:
        number, to = shown(value, unit, imperial=imperial)
        places = 2 if to in {"s", ""} else int(abs(number - round(number)) > 0.05)
        return number_words(number, places) + (_SIGNS.get(to, "") if sign else "")

    def one(value: float) -> str:
        if measure in _TURNS and value < 0:
            return _("open %(turn)s") % {"turn": plain(-value)}
        return plain(value)

    if comparison == "changed_by" and change is not None:
        words = (
            _("at least %s more than before") if change >= 0 else _("at least %s less than before")
        )
        return words % plain(abs(change))
    low, high = band_of(comparison, low=low, high=high)
    if low is not None and high is not None:
        if measure in _TURNS and low < 0:
            if high <= 0:
                spread = f"{plain(-high, sign=False)}–{plain(-low)}"
                return _("open %(turn)s") % {"turn": spread}
            return _("%(low)s to %(high)s") % {"low": one(low), "high": one(high)}
        if low < 0:
            return _("%(low)s to %(high)s") % {"low": plain(low, sign=False), "high": plain(high)}
        return f"{plain(low, sign=False)}–{plain(high)}"
    # Being open is a negative turn: "at most −30" is asked for as "open at least 30".
    if low is not None:
        if measure in _TURNS and low < 0:
            return _("open at most %s") % plain(-low)
        return _("at least %s") % plain(low)
    if high is not None:
        if measure in _TURNS and high < 0:
            return _("open at least %s") % plain(-high)
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


def beside_bar_words(mean: float, u: float) -> str:
    """A turn against the club held in the same repetition: `6° ± 5 more than the held club`."""
    told = _("%s less than the held club.") if mean < 0 else _("%s more than the held club.")
    return told % value_words(abs(mean), u, unit="deg")


def turn_bias_words(across: str, mean: float, u: float, count: int, *, name: str) -> str:
    """`Against a held club the turn of the hips reads about 4° ± 2 high on Sam, from …`"""
    since = ngettext("one repetition", "%(count)d repetitions", count) % {"count": count}
    facts = {"turn": ACROSS[across][1], "name": name, "since": since}
    facts["size"] = value_words(abs(mean), u, unit="deg")
    facts["way"] = _("low") if mean < 0 else _("high")
    if abs(mean) <= 2 * u:
        return (
            _(
                "Against a held club the %(turn)s reads %(size)s %(way)s on %(name)s, from"
                " %(since)s: too little to tell."
            )
            % facts
        )
    return (
        _(
            "Against a held club the %(turn)s reads about %(size)s %(way)s on %(name)s, from"
            " %(since)s."
        )
        % facts
    )


def difference_words(mean: float, u: float) -> str:
    """`4° ± 2 high`."""
    told = _("%s low") if mean < 0 else _("%s high")
    return told % value_words(abs(mean), u, unit="deg")


def agreement_words(
    *, persons: int, pairs: int, mean: tuple[float, float], low: float, high: float, limit_u: float
) -> str:
    """What differences over several students let one expect of the next."""

    def side(value: float) -> str:
        told = _("%s low") if value < 0 else _("%s high")
        return told % value_words(abs(value), unit="deg")

    return _(
        "Over %(persons)d students and %(pairs)d repetitions it reads %(mean)s on average. On a"
        " further student expect between %(low)s and %(high)s, 19 times out of 20; with so"
        " many students each of these limits is itself ± %(loose)s."
    ) % {
        "persons": persons,
        "pairs": pairs,
        "mean": difference_words(*mean),
        "low": side(low),
        "high": side(high),
        "loose": value_words(2 * limit_u, unit="deg"),
    }


def time_left_words(seconds: float) -> str:
    """How long a promise has left: `2 days left`, `5 hours left`, `3 hours late`."""
    late, span = seconds < 0, abs(seconds)
    if span >= 36 * 3600:
        count = round(span / 86400)
        text = ngettext("%d day", "%d days", count) % count
    elif span >= 3600:
        count = round(span / 3600)
        text = ngettext("%d hour", "%d hours", count) % count
    else:
        count = max(1, round(span / 60))
        text = ngettext("%d minute", "%d minutes", count) % count
    return (_("%s late") if late else _("%s left")) % text
