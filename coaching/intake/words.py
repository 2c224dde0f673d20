"""The sentences about clips, in one place: what was seen and what to do next."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Words = str | Promise


@dataclass(frozen=True)
class Advice:
    """What was seen in a clip, and what to do about it."""

    seen: Words
    do: Words


CLIP: dict[str, Advice] = {
    "unreadable": Advice(
        _("We couldn't open that file as a video."),
        _("Film again, or choose the clip straight from your phone's own album."),
    ),
    "too_short": Advice(
        _("There is only one picture in that clip."),
        _("Start filming, swing, then stop, and send that."),
    ),
    "too_long": Advice(
        _("That clip is longer than three minutes."),
        _("Cut it to the swings, or film again and stop after the last one."),
    ),
    "nobody": Advice(
        _("We couldn't find you in the picture."),
        _("Stand the phone 3 to 5 metres away so that all of you is in it, and film again."),
    ),
    "several_people": Advice(
        _("Somebody else is in the picture with you."),
        _("Film again with nobody else in view."),
    ),
    "body_cut": Advice(
        _("Your head or your feet are outside the picture."),
        _("Move the phone two paces back and film again."),
    ),
    "too_small": Advice(
        _("You are too small in the picture to measure."),
        _("Bring the phone closer, 3 to 5 metres away, upright, and film again."),
    ),
    "too_dark": Advice(
        _("It is too dark to see you well."),
        _("Turn so that the light is behind the phone, or film by day."),
    ),
    "blurred": Advice(
        _("The picture is blurred."),
        _("Wipe the lens, tap on yourself to focus, and film again."),
    ),
    "low_rate": Advice(
        _("The clip has too few pictures a second for a swing."),
        _("Set your camera to 60 a second or more and film again."),
    ),
    "camera_moves": Advice(
        _("The phone moves while you swing."),
        _("Lean it on a bag or a stand so that nobody holds it, and film again."),
    ),
    "wrong_view": Advice(
        _("This looks like another angle than the one asked for."),
        _("Look at the sketch, move the phone there, and film again."),
    ),
    "wrong_hand": Advice(
        _("You seem to be turned the other way round."),
        _("Check whether your camera mirrors the picture, then film again."),
    ),
    "no_swing": Advice(
        _("We couldn't find a swing in that clip."),
        _("Start standing still, swing, hold the finish, then stop filming."),
    ),
    "fewer_swings": Advice(
        _("There are fewer swings than asked for."),
        _("Film the missing ones and send them too."),
    ),
    "off_line": Advice(
        _("The phone stands a little off the line."),
        _("Next time put it square to the line, as in the sketch."),
    ),
    "slow_motion": Advice(
        _("The clip plays in slow motion, so speed is left out."),
        _("Next time send it as it was filmed."),
    ),
    "view_not_measured": Advice(
        _("This angle is for looking at."),
        _("Nothing is measured from it."),
    ),
}

# Trouble on our side: never the student's doing.
TROUBLE: dict[str, Words] = {
    "media_missing": _("We couldn't reach your clip just now. Try again in a moment."),
    "disk_full": _("We ran out of room while working on your clip. It is kept; try again later."),
    "worker_lost": _("The work on your clip stopped three times. It is kept; try again."),
    "erased": _("This clip was erased, as you asked."),
}
ELSE = _("Something on our side stopped the work on your clip. It is kept; try again.")


def advice(code: str) -> Advice:
    return CLIP.get(code, CLIP["unreadable"])


def trouble(code: str) -> Words:
    return TROUBLE.get(code, ELSE)
