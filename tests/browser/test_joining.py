"""Joining on a phone, with fingers and with keys; a minor and the guardian."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from coaching.people import queries, services
from coaching.people.models import Invitation, Student, User
from tests import factories


@pytest.fixture
def invitation(coach: User) -> Invitation:
    studio = coach.memberships.get().studio
    return services.invite_student(studio=studio, by=coach, name="Sam Reed")


def fill_account(page: Page, *, name: str, email: str = "") -> None:
    page.get_by_label("Your name").fill(name)
    if email:
        page.get_by_label("Your e-mail").fill(email)
    page.get_by_label("A password").fill(factories.PASSWORD)


def test_adult_joins_on_a_phone(invitation: Invitation, phone, assert_accessible, picture) -> None:
    page = phone()
    page.goto(f"/join/{invitation.token}/")
    assert_accessible(page)
    picture(page, "join-1-account-phone")
    fill_account(page, name="Sam Reed", email="sam@example.org")
    page.get_by_label("18 or over").tap()
    page.get_by_role("button", name="Go on").tap()

    expect(page.get_by_role("heading", level=1)).to_have_text("What hurts, or will not move?")
    page.get_by_label("Hip", exact=True).tap()
    page.get_by_label("Which movement? (Hip)").fill("turning in")
    page.get_by_label("Side (Hip)").select_option("right")
    assert_accessible(page)
    picture(page, "join-2-body-phone")
    page.get_by_role("button", name="Go on").tap()

    page.get_by_label("left-handed").tap()
    page.get_by_label("How tall are you?").fill("five foot")
    page.get_by_label("18 to 59").tap()
    page.get_by_label("at home with foam balls").tap()
    page.get_by_role("button", name="Go on").tap()
    # The sentence stands beside the field, and nothing that was typed is lost.
    expect(page.get_by_text("Write it like 178 cm or 5 ft 10 in.")).to_be_visible()
    expect(page.get_by_label("left-handed")).to_be_checked()
    assert_accessible(page)
    picture(page, "join-3-about-phone")
    page.get_by_label("How tall are you?").fill("5 ft 10 in")
    page.get_by_role("button", name="Go on").tap()

    expect(page.get_by_role("heading", level=1)).to_have_text("What you agree to")
    assert_accessible(page)
    picture(page, "join-4-consents-phone")
    for box in page.get_by_role("checkbox").all():
        expect(box).not_to_be_checked()
        box.tap()
    page.get_by_role("button", name="Finish").tap()
    page.wait_for_url(re.compile(r"/mine/\d+/"))
    student = Student.objects.get()
    assert student.joined_at and not queries.consents_missing(student)
    assert student.body_notes.get().side == "lead"  # right hip of a left-hander


def test_joining_by_keyboard_alone(invitation: Invitation, desk) -> None:
    page = desk()
    page.goto(f"/join/{invitation.token}/")
    page.keyboard.press("Tab")
    expect(page.get_by_text("Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("Kim")
    page.keyboard.press("Tab")
    page.keyboard.type("kim@example.org")
    page.keyboard.press("Tab")
    page.keyboard.type(factories.PASSWORD)
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("What hurts, or will not move?")
    assert User.objects.get(email="kim@example.org").name == "Kim"


def test_minor_and_guardian(invitation: Invitation, phone, assert_accessible, picture) -> None:
    page = phone()
    page.goto(f"/join/{invitation.token}/")
    fill_account(page, name="Jo", email="jo@example.org")
    page.get_by_label("under 18").tap()
    page.get_by_role("button", name="Go on").tap()

    expect(page.get_by_role("heading", level=1)).to_have_text("Your guardian agrees first.")
    page.get_by_label("Your guardian’s name").fill("Ada")
    page.get_by_label("Your guardian’s own e-mail").fill("jo@example.org")
    page.get_by_role("button", name="Write to them").tap()
    expect(page.get_by_text("it must differ from yours")).to_be_visible()
    page.get_by_label("Your guardian’s own e-mail").fill("ada@example.org")
    page.get_by_role("button", name="Write to them").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("We have written to Ada.")
    assert_accessible(page)
    picture(page, "guardian-1-wait-phone")

    link = Invitation.objects.get(kind="guardian")
    other = phone()
    other.goto(f"/join/{link.token}/")
    assert_accessible(other)
    picture(other, "guardian-2-agree-phone")
    fill_account(other, name="Ada")
    for box in other.get_by_role("checkbox").all():
        box.tap()
    other.get_by_role("button", name="Agree").tap()
    expect(other.get_by_role("heading", level=1)).to_have_text(re.compile("guardian"))
    assert_accessible(other)
    picture(other, "guardian-3-page-phone")

    # The student goes on now: the body comes first.
    page.goto("/")
    page.goto(f"/students/{invitation.student_id}/wait/")
    expect(page.get_by_role("heading", level=1)).to_have_text("What hurts, or will not move?")

    other.get_by_role("link", name="Withdraw").tap()
    expect(other.get_by_text("This cannot be undone")).to_be_visible()
    other.get_by_role("button", name="Withdraw and erase the clips").tap()
    expect(other.get_by_text("Nothing. No clip can be sent.")).to_be_visible()
    student = Student.objects.get(pk=invitation.student_id)
    assert queries.consents_missing(student) == ["store", "share_coach"]


def test_joining_works_without_script(invitation: Invitation, phone) -> None:
    page = phone(None, java_script_enabled=False)
    page.goto(f"/join/{invitation.token}/")
    fill_account(page, name="Sam", email="sam@example.org")
    page.get_by_label("18 or over").tap()
    page.get_by_role("button", name="Go on").tap()
    page.get_by_label("Nothing hurts and nothing is limited.").tap()
    page.get_by_role("button", name="Go on").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("A little about you")
