"""Joining with fingers on a phone and with keys at a desk; a minor and the guardian."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from coaching.people import queries
from coaching.people.models import Invitation, Student, User
from coaching.people.services import students
from tests import factories
from tests.browser.hands import Fingers, Keys

WAYS = [pytest.param("phone", Fingers(), id="phone"), pytest.param("desk", Keys(), id="desk")]
Hands = Fingers | Keys


@pytest.fixture
def invitation(coach: User) -> Invitation:
    studio = coach.memberships.get().studio
    return students.invite_student(studio=studio, by=coach, name="Sam Reed")


def account(page: Page, hands: Hands, *, name: str, email: str = "") -> None:
    hands.write(page.get_by_label("Your name"), name)
    if email:
        hands.write(page.get_by_label("Your e-mail"), email)
    hands.write(page.get_by_label("A password"), factories.PASSWORD)


def go_on(page: Page, hands: Hands, name: str = "Continue") -> None:
    hands.press(page.get_by_role("button", name=name))


def heading(page: Page, text: str | re.Pattern[str]) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(text)


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_adult_joins(
    invitation: Invitation, width: str, hands: Hands, request, assert_accessible, picture
) -> None:
    page = request.getfixturevalue(width)()
    page.goto(f"/join/{invitation.token}/")
    assert_accessible(page)
    picture(page, f"join-1-account-{width}")
    account(page, hands, name="Sam Reed", email="sam@example.org")
    hands.press(page.get_by_label("18 or over"))
    go_on(page, hands)

    heading(page, "Does anything hurt or feel stiff?")
    hands.press(page.get_by_label("Hip", exact=True))
    hands.choose(page.get_by_label("Side (Hip)"), "right")
    hands.write(page.get_by_label("Which movement? (Hip)"), "turning in")
    assert_accessible(page)
    picture(page, f"join-2-body-{width}")
    go_on(page, hands)

    heading(page, "A little about you")
    hands.press(page.get_by_label("left-handed"))
    hands.write(page.get_by_label("How tall are you?"), "five foot")
    hands.press(page.get_by_label("18 to 59"))
    hands.press(page.get_by_label("at home with foam balls"))
    go_on(page, hands)
    # The sentence stands beside the field, and nothing that was chosen is lost.
    expect(page.get_by_text("Write it like 178 cm or 5 ft 10 in.")).to_be_visible()
    expect(page.get_by_label("left-handed")).to_be_checked()
    assert_accessible(page)
    picture(page, f"join-3-about-{width}")
    hands.write(page.get_by_label("How tall are you?"), "5 ft 10 in")
    go_on(page, hands)

    heading(page, re.compile("What may .* do with your films"))
    assert_accessible(page)
    picture(page, f"join-4-consents-{width}")
    switches = page.get_by_role("switch").all()
    assert len(switches) == 5
    for switch in switches:
        expect(switch).not_to_be_checked()
        hands.press(switch)
    go_on(page, hands, "Agree to what is on")
    page.wait_for_url(re.compile(r"/mine/\d+/"))
    student = Student.objects.get()
    assert student.joined_at and not queries.consents_missing(student)
    assert student.body_notes.get().side == "lead"  # right hip of a left-hander


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_minor_and_guardian(
    invitation: Invitation, width: str, hands: Hands, request, assert_accessible, picture
) -> None:
    opened = request.getfixturevalue(width)
    page = opened()
    page.goto(f"/join/{invitation.token}/")
    account(page, hands, name="Jo", email="jo@example.org")
    hands.press(page.get_by_label("under 18"))
    go_on(page, hands)

    heading(page, "Your guardian agrees first.")
    hands.write(page.get_by_label("Your guardian’s name"), "Ada")
    hands.write(page.get_by_label("Your guardian’s own e-mail"), "jo@example.org")
    go_on(page, hands, "Write to them")
    expect(page.get_by_text("it must differ from yours")).to_be_visible()
    hands.write(page.get_by_label("Your guardian’s own e-mail"), "ada@example.org")
    go_on(page, hands, "Write to them")
    heading(page, "We have written to Ada.")
    assert_accessible(page)
    picture(page, f"guardian-1-wait-{width}")

    other = opened()
    other.goto(f"/join/{Invitation.objects.get(kind='guardian').token}/")
    assert_accessible(other)
    picture(other, f"guardian-2-agree-{width}")
    account(other, hands, name="Ada")
    for box in [*other.get_by_role("switch").all(), other.get_by_role("checkbox")]:
        hands.press(box)
    go_on(other, hands, "Agree to what is on")
    heading(other, re.compile("guardian"))
    assert_accessible(other)
    picture(other, f"guardian-3-page-{width}")

    # The student goes on now, and the body comes first.
    page.goto("/")
    heading(page, "Does anything hurt or feel stiff?")

    hands.press(other.get_by_role("link", name="Take everything back"))
    hands.write(other.get_by_label("Password"), factories.PASSWORD)  # signed in anew first
    go_on(other, hands, "Confirm")
    expect(other.get_by_text("This cannot be undone")).to_be_visible()
    go_on(other, hands, "Withdraw and erase the clips")
    expect(other.get_by_text("Nothing. No clip can be sent.")).to_be_visible()
    student = Student.objects.get(pk=invitation.student_id)
    assert queries.consents_missing(student) == ["store", "share_coach"]


def test_first_stop_of_the_keyboard_skips_the_head(invitation: Invitation, desk) -> None:
    page = desk()
    page.goto(f"/join/{invitation.token}/")
    page.keyboard.press("Tab")
    expect(page.get_by_text("Skip to the page")).to_be_focused()
    expect(page.get_by_text("Skip to the page")).to_be_in_viewport()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.get_by_label("Your name")).to_be_focused()


def test_joining_works_without_script(invitation: Invitation, phone) -> None:
    page, hands = phone(None, java_script_enabled=False), Fingers()
    page.goto(f"/join/{invitation.token}/")
    account(page, hands, name="Sam", email="sam@example.org")
    hands.press(page.get_by_label("18 or over"))
    go_on(page, hands)
    hands.press(page.get_by_label("Nothing hurts and nothing is limited."))
    go_on(page, hands)
    heading(page, "A little about you")
