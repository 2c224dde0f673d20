"""Where to stand the phone, drawn: the ground seen from above, and the height from the side.

Pure geometry, in the picture's own units: 30 to a metre, x to the right, y down, the
target up the page. A right-hander stands left of the ball and faces right; a left-hander
is the mirror picture.
"""

from __future__ import annotations

from dataclasses import dataclass

UNIT = 30  # of the picture, per metre
CIRCLE_M = 2.0  # nobody and nothing inside: arms, club and a step to spare
AWAY_M = 4.0  # the middle of "3 to 5 m"
REACH_M = 0.75  # from the middle of the feet to the ball
WIDTH = 320


@dataclass(frozen=True)
class Sketch:
    """Places in the picture; `phone` is None where there is no one right place."""

    view: str
    width: int
    height: int
    golfer: tuple[float, float]
    ball: tuple[float, float]
    faces: int  # +1: toward the right of the picture, -1: toward its left
    circle: float
    phone: tuple[float, float] | None
    phone_turn: int  # degrees; 0 looks up the page
    sight: tuple[float, float, float, float] | None
    distance_at: tuple[float, float]
    circle_at: tuple[float, float]
    circle_anchor: str  # which end of the label stands there
    from_above: bool  # the phone hangs overhead


def draw(*, view: str, handedness: str) -> Sketch:
    """The plan for a view and a player.

    Raises
    ------
    KeyError
        For a view that is not one of `analysis.core.pose.VIEWS`.
    """
    faces = -1 if handedness == "left" else 1
    hands = REACH_M * 0.6 * UNIT * faces  # the phone looks along the hands, not along the feet
    away, circle, middle = AWAY_M * UNIT + 18, CIRCLE_M * UNIT, WIDTH / 2
    golfer = {
        "down_the_line": (middle, 105.0),
        "face_on": (middle - 72 * faces, 120.0),
        "rear": (middle + 72 * faces, 120.0),
        "overhead": (middle, 120.0),
        "other": (middle, 120.0),
    }[view]
    x, y = golfer
    phone, turn, sight, label = None, 0, None, (0.0, 0.0)
    if view == "down_the_line":
        phone = (x + hands, y + away)
        sight = (phone[0], phone[1] - 20, phone[0], y + 8)
        label = (phone[0] + 12 * faces, y + circle + 26)
    elif view in ("face_on", "rear"):
        side = faces if view == "face_on" else -faces  # of the golfer, in the picture
        phone, turn = (x + away * side, y), -90 * side
        sight = (phone[0] - 20 * side, y, x + (26 if view == "face_on" else 12) * side, y)
        label = (x + (circle + 10) * side, y - 12)
    below = y + circle + 18
    return Sketch(
        view=view,
        width=WIDTH,
        height=272 if view == "down_the_line" else 226,
        golfer=golfer,
        ball=(x + REACH_M * UNIT * faces, y),
        faces=faces,
        circle=circle,
        phone=phone,
        phone_turn=turn,
        sight=sight,
        distance_at=label,
        circle_at=(x - 6 * faces if view == "down_the_line" else x, below),
        circle_anchor=("end" if faces > 0 else "start") if view == "down_the_line" else "middle",
        from_above=view == "overhead",
    )
