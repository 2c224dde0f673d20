"""The waiting list and the student's home: by touch on a phone, by keys alone at a desk."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from coaching.people.models import Student, User
from coaching.practice.models import PainReport
from tests import factories
from tests.browser.hands import Fingers, Keys

WAYS = [pytest.param("phone", Fingers(), id="phone"), pytest.param("desk", Keys(), id="desk")]
FIGURES = {("pelvis_turn_deg", "top"): (21.0, 3.0), ("shaft_pitch_deg", "late_back"): (86.0, 2.0)}


@pytest.fixture
def waiting(coach: User, student: Student) -> dict[str, Student]:
    """Two clips with different promises, a pain report and somebody with a word."""
    studio = student.studio
    factories.make_coach(studio=studio, name="Kim Colleague")
    people = {"first": student}
    for name, hours in (("Late Lee", 50), ("Soon Sue", 3)):
        person = factories.make_student(coach=coach, name=name)
        clip = factories.make_submission(
            student=person, promised_at=timezone.now() + timedelta(hours=hours)
        )
        factories.make_measured(clip, FIGURES)
        people[name] = person
    PainReport.objects.create(student=student, region="hip", words="on the way back")
    return people


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_coach_works_through_the_waiting_list(
    waiting: dict[str, Student],
    coach: User,
    width: str,
    hands: Fingers | Keys,
    request: Any,
    assert_accessible: Any,
    picture: Any,
) -> None:
    page = request.getfixturevalue(width)(coach)
    page.goto("/waiting/")
    rows = page.locator(".waiting-row")
    expect(rows).to_have_count(3)
    for place, words in enumerate(("reports pain: hip", "Soon Sue sent a swing", "Late Lee sent")):
        expect(rows.nth(place)).to_contain_text(words)
    expect(rows.nth(1)).to_contain_text("21° ± 6")  # two standard deviations
    expect(rows.nth(1)).to_contain_text("left")
    picture(page, f"waiting-{width}")
    assert_accessible(page)

    # Words narrow the list; nothing found says so and offers the way back.
    hands.write(page.get_by_label("Find by name or words"), "nobody at all")
    hands.press(page.get_by_role("button", name="Show"))
    expect(page.get_by_text("No row holds these words.")).to_be_visible()
    hands.press(page.get_by_role("link", name="Show everything"))
    expect(rows).to_have_count(3)

    # Put off, handed over.
    hands.press(rows.nth(2).locator("summary"))
    hands.press(rows.nth(2).get_by_role("button", name="In three days"))
    expect(rows).to_have_count(2)
    hands.press(rows.nth(1).locator("summary"))
    kim = User.objects.get(name="Kim Colleague")
    hands.choose(rows.nth(1).get_by_label("Hand to"), str(kim.pk))
    hands.press(rows.nth(1).get_by_role("button", name="Hand over"))
    expect(rows).to_have_count(2)
    waiting["Soon Sue"].refresh_from_db()
    assert waiting["Soon Sue"].coach == kim

    # The one action of a row leads to the clip; pain leads to the report.
    hands.press(rows.nth(0).get_by_role("link", name="Read the report"))
    expect(page.get_by_role("heading", level=1)).to_contain_text(waiting["first"].name)


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_student_sees_one_next_thing(
    student: Student,
    width: str,
    hands: Fingers | Keys,
    request: Any,
    assert_accessible: Any,
    picture: Any,
) -> None:
    asked = factories.make_request(student=student, angles=0, words="As slow as you can.")
    factories.make_angle(request=asked, view="face_on", kind="rehearsal", repetitions=3)
    page = request.getfixturevalue(width)(student.user)
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "Film your slow rehearsal from the front: 3 swings."
    )
    expect(page.get_by_text("As slow as you can.")).to_be_visible()
    picture(page, f"mine-{width}")
    assert_accessible(page)
    hands.press(page.get_by_role("link", name="See what has changed"))
    assert_accessible(page)
    picture(page, f"progress-empty-{width}")
    page.goto("/")
    hands.press(page.get_by_role("link", name="Film it"))
    page.wait_for_url(f"**/film/{asked.angles.get().pk}/")
