"""What a student's ball usually does, as it is chosen from pictures.

A flight is where the ball starts and how it curves, seen from behind the player, so left
and right mean the same for both hands.
"""

from __future__ import annotations

from typing import Any

from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l


class Flight(models.TextChoices):
    LEFT_LEFT = "left-left", _l("starts left, curves further left")
    LEFT_STRAIGHT = "left-straight", _l("starts left, flies straight on")
    LEFT_RIGHT = "left-right", _l("starts left, curves back to the right")
    STRAIGHT_LEFT = "straight-left", _l("starts straight, curves left")
    STRAIGHT_STRAIGHT = "straight-straight", _l("flies straight")
    STRAIGHT_RIGHT = "straight-right", _l("starts straight, curves right")
    RIGHT_LEFT = "right-left", _l("starts right, curves back to the left")
    RIGHT_STRAIGHT = "right-straight", _l("starts right, flies straight on")
    RIGHT_RIGHT = "right-right", _l("starts right, curves further right")


class Height(models.TextChoices):
    HIGH = "high", _l("too high")
    LOW = "low", _l("too low")


class Strike(models.TextChoices):
    THIN = "thin", _l("thin: the club meets the ball too high up")
    FAT = "fat", _l("fat: the ground before the ball")
    HEEL = "heel", _l("off the heel: near the shaft")
    TOE = "toe", _l("off the toe: far from the shaft")
    TOP = "top", _l("topped: the ball rolls")
    SHANK = "shank", _l("a shank: off the neck of the club")


class BallFields(models.Model):
    """The usual miss, structured; all of it may stay open."""

    flight = models.CharField(max_length=17, choices=Flight.choices, blank=True)
    height = models.CharField(max_length=4, choices=Height.choices, blank=True)
    strike = models.CharField(max_length=5, choices=Strike.choices, blank=True)

    class Meta:
        abstract = True


def ball_words(row: BallFields) -> str:
    """`thin; starts right, curves further right; too high`, or nothing."""
    parts = [row.get_strike_display().split(":")[0]] if row.strike else []
    parts += [str(row.get_flight_display())] if row.flight else []
    parts += [str(row.get_height_display())] if row.height else []
    return "; ".join(parts)


def known(fields: dict[str, Any]) -> dict[str, str]:
    """Flight, height and strike of `fields`; what is none of the choices is left open."""
    choices = {"flight": Flight.values, "height": Height.values, "strike": Strike.values}
    return {
        name: str(fields.get(name)) if fields.get(name) in values else ""
        for name, values in choices.items()
    }


def any_words(row: BallFields, free: str) -> str:
    """The structured miss with the free line behind it."""
    structured = ball_words(row)
    if structured and free:
        return _("%(structured)s. “%(free)s”") % {"structured": structured, "free": free}
    return structured or free
