"""What coaches ask for most, ready to send: common practice, no published source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from coaching.people.models import Student


@dataclass(frozen=True)
class Preset:
    slug: str
    label: Any
    angles: tuple[dict[str, Any], ...]
    text: str = ""  # with places, see `lessons.places`
    due_days: int | None = None

    def for_student(self, student: Student) -> list[dict[str, Any]]:
        """The angles, with the ball that the student has where he practises."""
        has = {"foam": "foam", "none": "none"}.get(student.practice_place)
        return [
            {**angle, "ball": has} if has and angle.get("ball") == "ball" else dict(angle)
            for angle in self.angles
        ]


def _angle(view: str, **fields: Any) -> dict[str, Any]:
    swing = {"kind": "swing", "club": "7 iron", "effort": "full", "ball": "ball", "repetitions": 3}
    return {"view": view, **swing, **fields}


_SLOW = {"kind": "rehearsal", "effort": "slow", "ball": "none"}
_HOLD = {"kind": "hold", "effort": "slow", "ball": "none"}
_BAR = {"kind": "bar", "effort": "slow", "ball": "none", "repetitions": 2}
_STILL = {"kind": "setup", "effort": "still", "ball": "none", "repetitions": 1}

PRESETS = (
    Preset("two-angles", _("Two angles, full swing"), (_angle("down_the_line"), _angle("face_on"))),
    Preset(
        "setup",
        _("How you stand"),
        (_angle("down_the_line", **_STILL), _angle("face_on", **_STILL)),
    ),
    Preset("rehearsal", _("Slow rehearsal, down the line"), (_angle("down_the_line", **_SLOW),)),
    Preset("hold", _("To the top and hold, down the line"), (_angle("down_the_line", **_HOLD),)),
    Preset("turn", _("Turn, club across the hips"), (_angle("down_the_line", **_BAR),)),
    Preset(
        "turn-chest",
        _("Turn, club across the chest"),
        (_angle("down_the_line", **_BAR, bar_across="chest"),),
    ),
    Preset(
        "strike",
        _("One swing, face on"),
        (_angle("face_on", repetitions=1),),
    ),
)
