"""The drawing of where the phone goes is right for every view and hand."""

from __future__ import annotations

import re

import pytest

from coaching.intake.camera_scene import Scene, scene

VIEWS = ("down_the_line", "face_on", "rear")


def middle(drawn: Scene, kind: str) -> float:
    """Where a part stands, from left to right."""
    points = [
        float(x)
        for shape in drawn.shapes
        if shape.kind == kind
        for x in re.findall(r"[ML]\s*(-?[\d.]+) -?[\d.]+", shape.d)
    ]
    return sum(points) / len(points)


@pytest.mark.parametrize("view", VIEWS)
def test_a_left_hander_is_the_mirror_image(view: str) -> None:
    right, left = scene(view=view, hand="right"), scene(view=view, hand="left")
    for kind in ("phone", "shirt", "club", "line"):
        assert middle(left, kind) == pytest.approx(right.width - middle(right, kind), abs=1)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("hand", ["right", "left"])
def test_all_of_it_is_in_the_picture(view: str, hand: str) -> None:
    drawn = scene(view=view, hand=hand)
    for shape in drawn.shapes:
        if shape.kind in ("phone", "shirt", "club", "leg", "cap"):
            for x, y in re.findall(r"[ML]\s*(-?[\d.]+) (-?[\d.]+)", shape.d):
                assert 0 <= float(x) <= drawn.width and 0 <= float(y) <= drawn.height


def test_the_golfer_is_seen_from_the_side_that_is_asked() -> None:
    order = {view: [s.kind for s in scene(view=view, hand="right").shapes] for view in VIEWS}
    # From the front the club is drawn over the body, from the back the body over the club.
    assert order["face_on"].index("club") > order["face_on"].index("shirt")
    assert order["rear"].index("club") < order["rear"].index("leg")
    assert "peak" not in order["rear"]
