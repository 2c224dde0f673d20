"""The held club: the owner's page, the room's notes and the length of the club."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from coaching.people.models import Student, User
from tests import factories
from tests.browser.hands import Fingers, Keys
from tests.coaching.review.bars import hold_a_bar
from tests.coaching.review.clips import make_film

WAYS = [pytest.param("phone", Fingers(), id="phone"), pytest.param("desk", Keys(), id="desk")]


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_owner_finds_and_reads_the_distribution(
    student: Student,
    coach: User,
    width: str,
    hands: Fingers | Keys,
    request: Any,
    assert_accessible: Any,
    picture: Any,
) -> None:
    hold_a_bar(student, figure=[(47, 4), (49, 4), (46, 4)], bar=[(43, 2), (42, 2), (43, 2)])
    for name, figure, bar in (
        ("Kit Lowe", [(38, 5), (40, 5)], [(41, 2), (40, 2)]),
        ("Alexandra Featherstone-Haugh", [(58, 6), "unfamiliar"], [(49, 3), (50, 3)]),
    ):
        person = factories.make_student(coach=coach, name=name)
        hold_a_bar(person, figure=figure, bar=bar)
    hold_a_bar(student, view="face_on", across="chest", figure=[(80, 5)], bar=[(85, 3)])
    page = request.getfixturevalue(width)(coach)
    page.goto("/practice/")
    hands.press(page.get_by_role("link", name="Turn against the held club"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Turn against the held club")
    expect(page.locator("section")).to_have_count(2)
    expect(page.locator("section").first).to_contain_text("Over 3 students and 6 repetitions")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    assert_accessible(page)
    picture(page, f"turn-check-{width}")
    page.emulate_media(color_scheme="dark")
    picture(page, f"turn-check-{width}-dark")
    hands.press(page.get_by_role("link", name="Kit Lowe"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Kit Lowe")


@pytest.mark.parametrize("width", ["phone", "desk"])
def test_the_room_shows_both_and_their_difference(
    student: Student, coach: User, width: str, request: Any, assert_accessible: Any, picture: Any
) -> None:
    clip = hold_a_bar(student, figure=[(49, 3), (50, 3)], bar=[(40, 2), (41, 2)])
    make_film(clip.video)
    page = request.getfixturevalue(width)(coach)
    page.goto(reverse("review:room", args=[clip.pk]))
    page.locator("time-strip [data-event=top]").first.click()
    told = page.locator(".held")
    expect(told.first).to_be_visible()
    expect(told.first).to_have_text("9° ± 7 more than the held club.")
    assert_accessible(page)
    picture(page, f"turn-room-{width}")


def test_the_student_says_how_long_the_club_is(
    student: Student, phone: Any, assert_accessible: Any, picture: Any
) -> None:
    angle = factories.make_angle(
        request=factories.make_request(student=student, angles=0), kind="bar", repetitions=2,
        bar_across="chest",
    )  # fmt: skip
    page = phone(student.user)
    page.goto(f"/film/{angle.pk}/")
    field = page.get_by_label("How long is the club")
    field.fill("37 in")
    field.press("Enter")
    expect(page.get_by_role("button", name="Change")).to_be_visible()
    expect(page.get_by_label("How long is the club")).to_have_value("94 cm")
    assert_accessible(page)
    picture(page, "turn-film-phone")
