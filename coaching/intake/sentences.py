"""What is asked for, as the student reads it."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from coaching.intake.models import RequestedAngle
from coaching.lessons.words import film_name, view_from


def filming_sentence(angle: RequestedAngle) -> str:
    """`Film your slow rehearsal from behind the line: 3 swings.`"""
    count = angle.repetitions
    what = {
        "setup": _("Film how you stand to the ball %(view)s."),
        "hold": ngettext(
            "Film yourself going to the top and holding still, %(view)s.",
            "Film yourself going to the top and holding still, %(view)s: %(count)d times.",
            count,
        ),
        "rehearsal": ngettext(
            "Film your slow rehearsal %(view)s: one swing.",
            "Film your slow rehearsal %(view)s: %(count)d swings.",
            count,
        ),
        "swing": ngettext(
            "Film your swing %(view)s: one swing.",
            "Film your swing %(view)s: %(count)d swings.",
            count,
        ),
        "bar": ngettext(
            "Film your %(turn)s, %(view)s. Hold the club near its middle, both ends in sight,"
            " and stand still before and after the turn.",
            "Film your %(turn)s, %(view)s: %(count)d times. Hold the club near its middle, both"
            " ends in sight, and stand still before and after each turn.",
            count,
        ),
    }[angle.kind]
    turn = film_name("bar", angle.bar_across)
    return what % {"view": view_from(angle.view), "count": count, "turn": turn}
