"""Codes of clips, runs and figures as sentences: what was seen, and what to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from coaching.lessons.estimates import Change, Standing
from coaching.lessons.wording.naming import sided

# What a figure means against what was asked, the same to a student and to a coach.
STANDINGS: dict[Standing, Any] = {
    Standing.COUNTS: _l("counted"),
    Standing.CLOSE: _l("close"),
    Standing.DOES_NOT: _l("did not count"),
    Standing.NOT_SEEN: _l("not seen"),
}

CHANGES: dict[Change, Any] = {
    Change.CHANGED: _l("changed"),
    Change.NO_CHANGE: _l("no change that can be seen"),
    Change.NOT_SEEN: _l("not seen in both"),
}


@dataclass(frozen=True)
class Advice:
    """What was seen, and what to do about it. Each is one sentence."""

    seen: Any
    do: Any

    def __str__(self) -> str:
        return f"{self.seen} {self.do}".strip()


# Quality codes of a clip: what the student reads after "checking".
QUALITY: dict[str, Advice] = {
    "unreadable": Advice(
        _l("We couldn’t open this file as a film."),
        _l("Send the clip straight from your phone’s camera, or film it again."),
    ),
    "too_short": Advice(
        _l("This file holds a picture, not a film."),
        _l("Press record, count to two, swing, count to two and stop."),
    ),
    "too_long": Advice(
        _l("This clip is longer than three minutes."),
        _l("Cut it to the swings on your phone and send it again."),
    ),
    "nobody": Advice(
        _l("We couldn’t find you in the picture."),
        _l("Set the phone upright at hand height, four steps away, and film again."),
    ),
    "several_people": Advice(
        _l("We see more than one person."),
        _l("Film again with only yourself in the picture."),
    ),
    "body_cut": Advice(
        _l("Part of you is outside the picture."),
        _l("Step the phone two paces back, so that head, feet and club fit, and film again."),
    ),
    "too_small": Advice(
        _l("You are very small in the picture."),
        _l("Bring the phone closer, until you fill two thirds of its height, and film again."),
    ),
    "too_dark": Advice(
        _l("The picture is too dark to measure."),
        _l("Film with the light behind the phone, or outside."),
    ),
    "blurred": Advice(
        _l("The picture is blurred where you move."),
        _l("Wipe the lens, find more light, and film again."),
    ),
    "low_rate": Advice(
        _l("The camera was set below 60 fps: hands and club are smeared."),
        _l("Set it to 60 fps and film again."),
    ),
    "camera_moves": Advice(
        _l("The camera moves during the swing."),
        _l("Stand the phone on a bag or a tripod, so that nobody holds it, and film again."),
    ),
    "wrong_view": Advice(
        _l("This is filmed from another side than was asked."),
        _l("Look at the sketch, move the phone there, and film again."),
    ),
    "wrong_hand": Advice(
        _l("The swing goes the other way round than we expected."),
        _l("Switch off mirroring in your camera, or correct your handedness under You."),
    ),
    "sideways": Advice(
        _l("The picture lies on its side."),
        _l("Turn the clip upright in your phone’s editor, or film again with the phone upright."),
    ),
    "no_swing": Advice(
        _l("We see you stand, but no swing."),
        _l("Record until the swing is over, and send it again."),
    ),
    "fewer_swings": Advice(
        _l("There are fewer swings in this clip than were asked for."),
        _l("Film all of them in one go, or send the missing ones as another clip."),
    ),
    "off_line": Advice(
        _l("The phone stands a little off the line, so some figures are less sure."),
        _l("Next time put it exactly in line with your hands and the target."),
    ),
    "slow_motion": Advice(
        _l("This is a slow-motion export, so tempo and speed can’t be measured."),
        _l("Send the original clip if you want them."),
    ),
    "view_not_measured": Advice(
        _l("Nothing is measured from this angle."), _l("Your coach looks at it as it is.")
    ),
}

# The same codes where the clip is good to use: nothing has to be done again.
NEXT_TIME: dict[str, Any] = {
    "nobody": _l("Next time set the phone upright at hand height, four steps away."),
    "no_swing": _l("Next time record until the swing is over."),
    "several_people": _l("Next time film with only yourself in the picture."),
    "body_cut": _l("Next time step the phone two paces back, so that head, feet and club fit."),
    "too_small": _l("Next time bring the phone closer, until you fill two thirds of its height."),
    "too_dark": _l("Next time film with the light behind the phone, or outside."),
    "blurred": _l("Next time wipe the lens and find more light."),
    "low_rate": _l("Next time set the camera to 60 fps."),
    "camera_moves": _l("Next time stand the phone on a bag or a tripod, so that nobody holds it."),
    "wrong_view": _l("Next time put the phone where the sketch shows it."),
    "wrong_hand": _l("Look whether your camera mirrors, and at your handedness under You."),
    "sideways": _l("Next time hold the phone upright while you film."),
    "fewer_swings": _l("Send the missing ones as another clip when you like."),
    **{code: QUALITY[code].do for code in ("off_line", "slow_motion", "view_not_measured")},
}

# Codes of a run that could not be finished.
RUN_ERRORS: dict[str, Advice] = {
    **{code: QUALITY[code] for code in ("unreadable", "too_short", "too_long")},
    "media_missing": Advice(
        _l("We couldn’t reach the stored clip just now."),
        _l("Try again in a few minutes; if it stays so, send the clip again."),
    ),
    "too_heavy": Advice(
        _l("Our program stops each time it opens this clip."),
        _l("Film it again with your phone’s own camera, at its usual size, and send that."),
    ),
    "storage_away": Advice(
        _l("Our store of clips does not answer just now."),
        _l("Your clip is safe: we try again by ourselves."),
    ),
    "worker_lost": Advice(
        _l("Measuring was interrupted several times."),
        _l("Your clip is safe: press “Measure again”."),
    ),
    "disk_full": Advice(
        _l("We ran out of room while measuring."),
        _l("Your clip is safe: press “Measure again” later, or wait for your coach."),
    ),
    "erased": Advice(_l("This clip was erased, as you asked."), _l("Film again when you like.")),
    "timed_out": Advice(
        _l("Measuring took too long and was stopped."),
        _l("Your clip is safe: cut it to the swings and send it again, or wait for your coach."),
    ),
    "internal": Advice(
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
    "other_version": _l("measured by another version than the clip it is compared with"),
    "no_ball": _l("there is no ball to compare with"),
    "no_still_address": _l("you don’t stand still before this one"),
    "unfamiliar": _l("a pose unlike any we can judge"),
    "mostly_average": _l("this view shows too little of it here"),
    "low_rate": _l("too few pictures a second"),
    "no_club_length": _l("we don’t know how long the held club is"),
    "bar_end_hidden": _l("an end of the club is hidden"),
    "arm_end_on": _l("the lead arm points at the camera there"),
    "clip_ends": _l("the film ends while you still stand there"),
}


def standing_words(standing: Standing | None) -> str:
    return str(STANDINGS[standing]) if standing else ""


def quality_message(code: str) -> Advice:
    """What to tell about a quality code; an unknown code tells what to do all the same."""
    return QUALITY.get(code) or Advice(
        _l("We couldn’t judge this clip."), _l("Film it again as in the sketch.")
    )


def next_time(code: str) -> Advice:
    """What to tell about a clip that is used all the same."""
    return Advice(quality_message(code).seen, NEXT_TIME.get(code, ""))


def quality_rows(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """A run's quality rows with our messages: those of the command line are for its own reader."""
    return [
        {
            **row,
            "message": str(
                quality_message(row["code"]) if row["level"] == "reject" else next_time(row["code"])
            ),
        }
        for row in rows
    ]


def run_error_message(code: str) -> Advice:
    return RUN_ERRORS.get(code) or QUALITY.get(code) or RUN_ERRORS["internal"]


def reason_words(code: str) -> str:
    known = REASONS.get(code) or (QUALITY[code].seen if code in QUALITY else _("not measured"))
    return sided(known)
