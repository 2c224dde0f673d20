"""The student's own way: home says that the answer is there, it is read, a question is asked."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from coaching.lessons.models import Entry
from coaching.people.models import Student
from coaching.review.models import Review
from tests.coaching.practice.making import (
    make_assignment,
    make_finding,
    make_review,
    open_attempt,
)

pytestmark = pytest.mark.django_db(transaction=True)


def answered(student: Student) -> Review:
    review = make_review(student=student)
    Review.objects.filter(pk=review.pk).update(text="We do one thing this week.")
    review.refresh_from_db()
    open_attempt(make_assignment(review=review, finding=make_finding(review=review)))
    return review


def test_home_leads_to_the_answer_and_the_answer_to_a_question(
    student: Student, phone: Any, picture: Any, assert_accessible: Any
) -> None:
    review = answered(student)
    page = phone(student.user)
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("has answered")
    page.get_by_role("link", name="See the answer").tap()
    expect(page.get_by_text("We do one thing this week.")).to_be_visible()
    entry = Entry.objects.get(kind="reviewed", refs__review=review.pk)
    assert entry.read_at is not None
    page.get_by_role("link", name="I have a question").tap()
    page.get_by_label("A word to your coach").fill("Both hips, or only one?")
    page.get_by_role("button", name="Send", exact=True).tap()
    expect(page.get_by_text("Both hips, or only one?").first).to_be_visible()
    page.goto(f"/review/{review.pk}/")
    page.get_by_role("button", name="Understood").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Film your")
    picture(page, "home-after-answer")


@pytest.mark.parametrize("width", [320, 390, 820])
def test_practice_and_pain_are_accessible_and_never_scroll_sideways(
    student: Student, phone: Any, picture: Any, assert_accessible: Any, width: int
) -> None:
    answered(student)
    drill = student.assignments.get()
    page = phone(student.user, viewport={"width": width, "height": 844})
    for name, path in {
        "practise": f"/drill/{drill.pk}/practise/",
        "pain": f"/students/{student.pk}/pain/",
    }.items():
        page.goto(path)
        picture(page, f"{name}-{width}")
        assert_accessible(page)
        for size in ("100%", "200%"):
            page.evaluate(f"document.documentElement.style.fontSize = '{size}'")
            assert page.evaluate("document.documentElement.scrollWidth") <= width + 1, (path, size)
    page.goto(f"/drill/{drill.pk}/practise/")
    page.locator("form[data-part=hurts]").get_by_role("button").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "It is stopped. Your coach has been told."
    )
    assert_accessible(page)
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert page.evaluate("document.documentElement.scrollWidth") <= width + 1
