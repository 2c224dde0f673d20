"""The live preview of a step: what its student will read, and a sound swing against it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from coaching.people.models import User
from coaching.practice import drills, previewing
from coaching.practice.models import Drill
from tests import factories

ClientFor = Callable[[User], Client]
STARTER = {drill["slug"]: drill for drill in drills.starter()}
TURN: dict[str, Any] = {
    "step-0-kind": "slow", "step-0-text": "Turn and stop.", "step-0-view": "face_on",
    "step-0-film_kind": "rehearsal", "step-0-effort": "slow", "step-0-ball": "none",
    "step-0-need": "2", "step-0-repetitions": "3", "step-0-0-comparison": "at_least",
    "step-0-0-figure": "pelvis_turn_deg@top", "step-0-0-low": "20", "step-0-0-aim": "40",
}  # fmt: skip


@pytest.mark.parametrize("slug", STARTER)
def test_every_starter_step_can_be_previewed(slug: str) -> None:
    ladder = STARTER[slug]["ladder"]
    for place, step in enumerate(ladder):
        shown = previewing.preview_of(ladder, place, slug=slug)
        assert shown is not None and shown.number == place + 1
        measured = [c for c in step["criteria"] if c.get("measure")]
        assert sum(asked.target is not None for asked in shown.asked) == len(measured)


def test_a_sound_swing_is_counted_where_it_lies_and_not_far_beyond() -> None:
    def sound(low: float) -> previewing.Sound:
        step = {
            "kind": "slow", "text": "", "view": "face_on", "film_kind": "rehearsal",
            "effort": "slow", "ball": "none", "need": 2, "repetitions": 3, "days": 1,
            "criteria": [{"comparison": "at_least", "measure": "pelvis_turn_deg",
                          "event": "top", "low": low}],
        }  # fmt: skip
        shown = previewing.preview_of([step], 0, slug="")
        assert shown is not None and shown.asked[0].sound is not None
        return shown.asked[0].sound

    assert sound(20).value == pytest.approx(45)  # as the golfer of the drawings is posed
    assert sound(20).passes and not sound(60).passes
    assert sound(20).chance > sound(40).chance > sound(60).chance


def test_a_position_that_is_held_where_the_coach_says_has_no_sound_swing() -> None:
    hold = {**STARTER["turn-with-a-club-on-the-hips"]["ladder"][-1], "film_kind": "hold"}
    hold["criteria"] = [
        {"comparison": "at_least", "measure": "pelvis_turn_deg", "event": "top", "low": 20}
    ]
    own = previewing.preview_of([hold], 0, slug="my-own")
    assert own is not None and own.asked[0].target is not None and own.asked[0].sound is None


@pytest.mark.django_db
def test_the_page_shows_it_beside_the_form_and_what_is_typed_follows(
    client_for: ClientFor,
) -> None:
    client = client_for(factories.make_coach())
    page = client.get(reverse("practice:library_new"))
    assert "As the student reads it" in page.text
    url = reverse("practice:library_preview")
    told = client.post(url, TURN).text
    assert "Turn and stop." in told and "at least 20°" in told and "40°" in told
    assert "A sound swing," in told
    half = client.post(url, {**TURN, "step-0-0-low": "", "place": "9"}).text
    assert "Write the number" in half and "A sound swing," not in half
    asked = {**TURN, "step-0-0-comparison": "self_test", "step-0-0-question": "Did it hold?"}
    assert "Did it hold?" in client.post(url, asked).text
    assert not Drill.objects.exists()  # nothing is saved


@pytest.mark.django_db
@pytest.mark.parametrize(
    "odd",
    [
        {"place": "x"},
        {"step-0-0-figure": "no_such@where"},
        {"step-0-0-low": "9", "step-0-0-high": "3", "step-0-0-comparison": "between"},
        {"step-0-0-comparison": "sometimes"},
        {"step-0-view": "above", "step-0-film_kind": "none"},
        {"step-0-need": "99999"},
    ],
)
def test_what_makes_no_sense_yet_is_a_preview_still(
    odd: dict[str, str], client_for: ClientFor
) -> None:
    client = client_for(factories.make_coach())
    answer = client.post(reverse("practice:library_preview"), {**TURN, **odd})
    assert answer.status_code == 200


@pytest.mark.django_db
def test_no_ladder_is_a_sentence(client_for: ClientFor) -> None:
    client = client_for(factories.make_coach())
    assert "No step yet." in client.post(reverse("practice:library_preview"), {}).text
