"""Every page about people, the thread and letters: read by axe, in light and dark, both widths."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people.models import Student, User
from coaching.people.services import joining, students
from tests import factories
from tests.coaching.dashboard.test_thread import make_everything

STUDENT = "body about confirm consents withdraw erase"
COACH = "student_edit erase"
WIDTHS = ["phone", "desk"]


def sound(page) -> None:
    """Nothing runs over the side of the page; what is pressed is 44 px high, at a desk 32."""
    over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert over <= 0, f"{page.url} runs {over} points over the side"
    least = 44 if page.viewport_size["width"] < 900 else 32
    small = page.evaluate(
        """least => [...document.querySelectorAll('button, .button, .head a, input, select')]
        .filter(e => e.offsetParent && !['checkbox', 'radio', 'hidden'].includes(e.type))
        .filter(e => e.getBoundingClientRect().height < least)
        .map(e => e.outerHTML.slice(0, 90))""",
        least,
    )
    assert not small, f"{page.url}: too small to touch: {small}"


@pytest.mark.parametrize("width", WIDTHS)
def test_pages_of_a_student(
    student: Student, width: str, request, assert_accessible, picture
) -> None:
    joining.note_body(
        student=student, by=student.user,
        notes=[{"region": "hip", "kind": "painful", "side": "right", "text": "turning in"}],
    )  # fmt: skip
    page = request.getfixturevalue(width)(student.user)
    paths = [f"/students/{student.pk}/{name}/" for name in STUDENT.split()]
    for path in [*paths, "/you/", "/you/emails/", "/password/change/"]:
        assert page.goto(path).status == 200, path
        assert_accessible(page)
        sound(page)
        picture(page, f"student{path.replace('/', '-')}{width}")


@pytest.mark.parametrize("width", WIDTHS)
def test_pages_of_an_owner(
    student: Student, coach: User, width: str, request, assert_accessible, picture
) -> None:
    studio = student.studio
    factories.make_coach(studio=studio, name="Lee Ford", role="assistant")
    fresh = students.invite_student(studio=studio, by=coach, name="Kim", email="kim@example.org")
    page = request.getfixturevalue(width)(coach)
    paths = [f"/students/{student.pk}/{name}/" for name in ("edit", "erase")]
    paths += [f"/students/{fresh.student_id}/edit/", f"/studio/{studio.pk}/"]
    for path in [*paths, "/students/invite/", "/you/"]:
        assert page.goto(path).status == 200, path
        assert_accessible(page)
        sound(page)
        picture(page, f"owner{path.replace('/', '-')}{width}")


@pytest.mark.parametrize("width", WIDTHS)
def test_open_pages(db, width: str, request, assert_accessible, picture) -> None:
    page = request.getfixturevalue(width)()
    for path, status in (("/login/", 200), ("/password/reset/", 200), ("/setup/", 200),
                         ("/join/nothing/", 404), ("/nothing/", 404)):  # fmt: skip
        assert page.goto(path).status == status, path
        assert_accessible(page)
        sound(page)
        picture(page, f"open{path.replace('/', '-')}{width}")


@pytest.mark.parametrize("width", WIDTHS)
def test_thread_and_lesson_on_paper(
    student: Student, width: str, request, assert_accessible, picture
) -> None:
    make_everything(student)
    for user in (student.user, student.coach):
        page = request.getfixturevalue(width)(user)
        for name in ("thread", "lesson"):
            assert page.goto(f"/students/{student.pk}/{name}/").status == 200
            assert_accessible(page)
            sound(page)
            picture(page, f"{name}-{'coach' if user == student.coach else 'student'}-{width}")


def test_what_is_typed_outlives_the_page(student: Student, phone) -> None:
    page = phone(student.user)
    address = f"/students/{student.pk}/thread/"
    page.goto(address)
    page.get_by_label("A word to your coach").fill("Half a thought")
    page.goto("/you/")
    page.goto(address)
    expect(page.get_by_label("A word to your coach")).to_have_value("Half a thought")
    page.get_by_role("button", name="Send").tap()
    expect(page.get_by_text("Half a thought")).to_be_visible()
    expect(page.get_by_label("A word to your coach")).to_have_value("")
    assert Entry.objects.get().text == "Half a thought"


def test_thread_prints_without_buttons(student: Student, coach: User, desk) -> None:
    lessons.send_message(student=student, author=coach, text="Kept on paper")
    page = desk(coach)
    page.goto(f"/students/{student.pk}/thread/")
    page.emulate_media(media="print")
    expect(page.get_by_text("Kept on paper")).to_be_visible()
    expect(page.get_by_role("button", name="Send")).to_be_hidden()
    expect(page.get_by_role("navigation")).to_be_hidden()
