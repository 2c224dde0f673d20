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
WIDTH, HEIGHT = 320, 300


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
    away, circle = AWAY_M * UNIT, CIRCLE_M * UNIT
    middle = WIDTH / 2
    golfer, phone, turn = {
        "down_the_line": ((middle, 105.0), (middle + hands, 105.0 + away + 18), 0),
        "face_on": (
            (middle - 72 * faces, 150.0),
            (middle - 72 * faces + (away + 18) * faces, 150.0),
            -90 * faces,
        ),
        "rear": (
            (middle + 72 * faces, 150.0),
            (middle + 72 * faces - (away + 18) * faces, 150.0),
            90 * faces,
        ),
        "overhead": ((middle, 150.0), None, 0),
        "other": ((middle, 150.0), None, 0),
    }[view]
    ball = (golfer[0] + REACH_M * UNIT * faces, golfer[1])
    sight, label = None, (0.0, 0.0)
    if phone is not None:
        if view == "down_the_line":
            sight = (phone[0], phone[1] - 20, phone[0], golfer[1] + 8)
            label = (phone[0] + 12 * faces, golfer[1] + circle + 26)
        else:
            side = 1 if phone[0] > golfer[0] else -1
            sight = (
                phone[0] - 20 * side,
                phone[1],
                golfer[0] + (26 if side == faces else 8) * side,
                phone[1],
            )
            label = (golfer[0] + (circle + 10) * side, phone[1] - 12)
    return Sketch(
        view=view,
        width=WIDTH,
        height=HEIGHT,
        golfer=golfer,
        ball=ball,
        faces=faces,
        circle=circle,
        phone=phone,
        phone_turn=turn,
        sight=sight,
        distance_at=label,
        from_above=view == "overhead",
    )
