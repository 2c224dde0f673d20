"""A student opens the picture of a measure with a finger, on the drill and on the progress page."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from coaching.people.models import Student
from tests.coaching.practice.making import make_assignment, make_review, open_attempt, send_film


@pytest.mark.parametrize("page_name", ["drill", "progress"])
def test_a_finger_opens_and_closes_it(
    student: Student, page_name: str, phone, assert_accessible, picture
) -> None:
    assignment = make_assignment(review=make_review(student=student))
    send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
    page = phone(student.user)
    if page_name == "drill":
        page.goto(f"/drill/{assignment.pk}/")
    else:
        page.goto(f"/students/{student.pk}/progress/")
    ask = page.get_by_role("button", name="What is pelvis turn?").first
    ask.scroll_into_view_if_needed()
    picture(page, f"drawn-{page_name}")
    box = ask.bounding_box()
    assert min(box["width"], box["height"]) >= 44
    ask.tap()
    shown = page.locator("#drawn-pelvis_turn_deg")
    expect(shown).to_contain_text("how far your hips have turned")
    expect(shown.locator("img")).not_to_have_js_property("naturalWidth", 0)
    over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert over <= 0
    assert_accessible(page)
    picture(page, f"drawn-{page_name}-open")
    shown.get_by_role("button", name="Close").tap()
    expect(shown).to_be_hidden()
