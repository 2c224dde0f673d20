"""What is asked for, as the student reads it."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from coaching.intake.models import RequestedAngle
from coaching.lessons.wording.naming import film_name, view_from, view_name


def filming_message(angle: RequestedAngle, *, child: str = "", count: int | None = None) -> str:
    """`Film your slow rehearsal down the line: 3 swings.`; `count` where some are here.

    To a guardian, with the name of the `child`: `Nell is asked to film one swing, face on.`
    """
    count = count or angle.repetitions
    if child:
        return _child_message(angle, child)
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


def _child_message(angle: RequestedAngle, child: str) -> str:
    count = angle.repetitions
    if angle.kind == "swing":
        what = ngettext("one swing", "%(count)d swings", count) % {"count": count}
    elif angle.kind == "rehearsal":
        what = ngettext("one slow swing", "%(count)d slow swings", count) % {"count": count}
    else:
        what = str(film_name(angle.kind, angle.bar_across))
    return _("%(child)s is asked to film %(what)s, %(view)s.") % {
        "child": child,
        "what": what,
        "view": view_name(angle.view),
    }
