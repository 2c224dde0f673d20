"""Moments, joints and the shaft put right by a person; figures follow at once."""

from __future__ import annotations

from typing import Any

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from analysis import figures
from analysis.core.pose import EVENTS, JOINTS
from analysis.models import Correction, EventTime, Video
from coaching.lessons.wording import naming
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.review.queries import player
from coaching.review.services.marks import check_time, is_inside

# After a short backswing the hands may be level before they have dropped 10 cm.
_FREE_ORDER = frozenset({"transition", "lead_arm_down"})


def correct(
    *, video: Video, time_s: float, target: str, value: dict[str, Any], by: User
) -> Correction:
    """Move an event, a joint or the shaft, and recompute the figures.

    Raises
    ------
    LessonError
        When the place lies outside the picture, the time outside the clip, the events
        would be out of order, or there is nothing measured to correct.
    """
    access.require_staff(by, video.submission.student)
    prefetch_related_objects([video], "runs")  # asked of several times below
    _check_correctable(video)
    check_time(video, time_s)
    kind, _sep, name = target.partition(":")
    if kind == "event" and name in EVENTS:
        value = {"repetition": _check_order(video, name, time_s, value)}
    elif kind == "joint" and name in JOINTS:
        value = {"x": value.get("x"), "y": value.get("y")}
        _check_places([[value["x"], value["y"]]])
    elif target == "shaft":
        value = {"grip": value.get("grip"), "head": value.get("head")}
        _check_places([value["grip"], value["head"]])
    else:
        raise LessonError(_("This can’t be corrected. Choose a moment, a joint or the shaft."))
    correction = figures.correct(video=video, time_s=time_s, target=target, value=value, author=by)
    return correction


def undo_correction(*, correction: Correction, by: User) -> None:
    """Take a correction back; what the computer read stands again."""
    access.require_staff(by, correction.video.submission.student)
    figures.undo_correction(correction=correction)


def _check_correctable(video: Video) -> None:
    state = player.state(video)
    if state == "gone":
        raise LessonError(
            _("This clip was erased meanwhile; its figures stay as they are."),
            code="gone",
            status=410,
        )
    if state != "ready":
        raise LessonError(
            _("This clip is not measured yet. Correct it when its figures are here."),
            code="not_ready",
        )


def _check_places(places: list[Any]) -> None:
    for place in places:
        numbers = isinstance(place, list) and all(isinstance(v, int | float) for v in place)
        if not numbers or not is_inside(place):
            raise LessonError(
                _("That place lies outside the picture. Put the point where you see it, inside."),
                code="outside",
            )


def _check_order(video: Video, event: str, time_s: float, value: dict[str, Any]) -> int:
    """The repetition meant; refuses a time on the wrong side of a neighbouring event."""
    run = video.measured()
    rows = list(EventTime.objects.filter(run=run))
    repetition = value.get("repetition")
    if repetition is None or not any(row.repetition == repetition for row in rows):
        timed = [row for row in rows if row.time_s is not None]
        nearest = min(timed, key=lambda row: abs(row.time_s - time_s), default=None)
        repetition = nearest.repetition if nearest else 0
    place = EVENTS.index(event)
    for row in rows:
        if row.repetition != repetition or row.time_s is None or row.event == event:
            continue
        if {row.event, event} == _FREE_ORDER:
            continue
        before = EVENTS.index(row.event) < place
        if (before and row.time_s >= time_s) or (not before and row.time_s <= time_s):
            message = _(
                "%(event)s must come after %(other)s (%(time).2f s). Choose a later moment."
            )
            if not before:
                message = _(
                    "%(event)s must come before %(other)s (%(time).2f s). Choose an earlier moment."
                )
            names = {
                "event": naming.event_name(event).capitalize(),
                "other": naming.event_name(row.event),
                "time": row.time_s,
            }
            raise LessonError(message % names, code="order")
    return int(repetition)
