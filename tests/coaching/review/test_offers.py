"""What putting a pair of joints right would bring is offered where it pays, and comes true."""

from __future__ import annotations

from typing import Any

import pytest

from coaching.intake.models import Submission
from coaching.people.models import Student, User
from coaching.review import offers
from coaching.review.queries import player
from coaching.review.services import corrections
from tests.coaching.review.clips import EVENTS_S, make_clip, measure_film

HIPS = ("hip_lead", "hip_trail")


def offer(
    measure: str = "pelvis_turn_deg",
    event: str = "impact",
    *,
    view: str = "down_the_line",
    sd: float | None = 9.0,
    put: tuple[tuple[str, float], ...] = (),
) -> dict[str, Any] | None:
    figure = {"id": measure, "event": event, "value": sd and 30.0, "uncertainty": sd}
    rows = [{"target": f"joint:{joint}", "time_s": time_s} for joint, time_s in put]
    return offers.put_right_offer(figure, view=view, times=EVENTS_S, corrections=rows)


def at(event: str, *joints: str) -> tuple[tuple[str, float], ...]:
    return tuple((joint, EVENTS_S[event]) for joint in joints)


def test_hips_at_impact_pay_from_behind_and_hardly_face_on_at_the_top() -> None:
    found = offer()
    assert found is not None
    assert (found["joints"], found["time_s"]) == ("hip_lead hip_trail", EVENTS_S["impact"])
    assert found["words"].startswith("Put the hips right: ± 18° becomes ± 1")
    assert offer(event="top", view="face_on") is None
    assert offer("shoulder_turn_deg", "top", view="face_on") is not None


@pytest.mark.parametrize(
    "nothing", [{"sd": None}, {"sd": 2.0}, {"measure": "side_tilt_deg"}, {"view": "behind"}]
)
def test_nothing_is_offered_where_nothing_is_to_be_won(nothing: dict[str, Any]) -> None:
    assert offer(**nothing) is None


def test_only_what_is_missing_is_asked_for_and_then_address() -> None:
    one = offer(put=at("impact", "hip_trail"))
    assert one is not None
    assert one["joints"] == "hip_lead"
    elsewhere = offer(put=(("hip_lead", EVENTS_S["impact"] + 0.2),))
    assert elsewhere is not None
    assert elsewhere["joints"] == "hip_lead hip_trail"
    later = offer(put=at("impact", *HIPS))
    assert later is not None
    assert (later["joints"], later["time_s"]) == ("hip_lead hip_trail", EVENTS_S["address"])
    assert "at address too" in later["words"]
    assert offer(put=at("impact", *HIPS) + at("address", *HIPS)) is None


@pytest.fixture
def clip(db: None, student: Student) -> Submission:
    made = make_clip(student=student, measured=False)
    turn = ["pelvis_turn_deg", "impact", [-35.0, 20.0]]
    measure_film(made.video, values=[turn], by_hand=True)
    return made


def shown(clip: Submission) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """The turn at impact, and what is offered beside it."""
    fresh = player.figures_data(player.with_figures(clip.video_id))
    (group,) = player.figure_groups(fresh["repetitions"])
    moment = next(m for m in group["moments"] if m["event"] == "impact")
    offers.put_beside(moment, group["moments"], fresh["corrections"], view="down_the_line")
    figure = next(f for f in moment["figures"] if f["id"] == "pelvis_turn_deg")
    return figure, figure["offer"]


def test_what_was_promised_is_what_the_figure_then_says(clip: Submission, coach: User) -> None:
    for _ in range(2):  # at impact, then at address
        _figure, promised = shown(clip)
        assert promised is not None
        for joint in promised["joints"].split():
            corrections.correct(
                video=clip.video,
                by=coach,
                time_s=promised["time_s"],
                target=f"joint:{joint}",
                value={"x": 0.43, "y": 0.5},
            )
        figure, _offer = shown(clip)
        assert f"becomes ± {2 * figure['uncertainty']:.0f}°" in promised["words"]
        assert figure["source"] == "corrected"
    assert _offer is None
