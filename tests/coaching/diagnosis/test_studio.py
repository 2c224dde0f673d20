"""A studio's own words, limits and entries: who may, who may not, and what it does."""

from __future__ import annotations

import pytest
from django.urls import reverse

from coaching.diagnosis import studio, suggestions
from coaching.diagnosis.entries import catalogue_of
from coaching.diagnosis.models import StudioEntry
from coaching.diagnosis.services import suggested
from coaching.people.errors import LessonError
from tests import factories
from tests.coaching.practice.making import TURN, make_review

pytestmark = pytest.mark.django_db


@pytest.fixture
def own(coach):
    return coach.memberships.get().studio


def url(name, row, *args):
    return reverse(f"diagnosis:{name}", args=[row.pk, *args])


def test_strangers_students_and_assistants_change_nothing(client_for, own, student, stranger):
    assistant = factories.make_coach(studio=own, role="assistant")
    for user in (stranger, student.user, assistant):
        theirs = client_for(user)
        assert theirs.get(url("entries", own)).status_code == 404
        assert theirs.get(url("entry", own, "sway")).status_code == 404
        assert theirs.post(url("entry", own, "sway"), {"name": "x"}).status_code == 404
        assert theirs.post(url("reset_entry", own, "sway")).status_code == 404
        assert theirs.post(url("own_entry", own), {"name": "x"}).status_code == 404
    assert not StudioEntry.objects.exists()


def test_words_and_limits_are_changed_shown_and_put_back(client_for, coach, own):
    mine = client_for(coach)
    fields = {
        "name": "Slides off the ball",
        "clause": "your hips drift off the ball",
        "pelvis_sway_cm@top:at_least": "3,5",
    }
    assert mine.post(url("entry", own, "sway"), fields).status_code == 302
    entry = catalogue_of(own).get("sway")
    assert (entry.name, entry.clause) == ("Slides off the ball", "your hips drift off the ball")
    assert entry.shows[0].at_least["driver"] == pytest.approx(2.0)  # 3.5 cm of 175
    page = mine.get(url("entry", own, "sway")).content.decode()
    assert 'value="3.5"' in page and "at least 4.9 cm" in page  # the catalogue's beside it
    assert "changed here" in mine.get(url("entries", own)).content.decode()
    mine.post(url("reset_entry", own, "sway"))
    assert catalogue_of(own).get("sway").name == "Sway"


def test_a_moved_limit_is_told_beside_the_suggestion(coach, own, student):
    studio.change_entry(
        studio=own, by=coach, entry="little-hip-turn", limits={"@".join(TURN): {"at_most": 45.0}}
    )
    review = make_review(student=student, figures={TURN: (36.0, 2.0)})
    (found,) = suggestions.offered(review).clear
    assert found.limit_words == "Your limit: at most 45°; the catalogue’s: at most 34°."


def test_a_hidden_one_is_neither_suggested_nor_in_the_list(client_for, coach, own, student):
    client_for(coach).post(url("entry", own, "little-hip-turn"), {"hidden": "on"})
    review = make_review(student=student, figures={TURN: (15.0, 2.0)})
    assert "little-hip-turn" not in {s.entry.id for s in suggestions.suggestions_for(review)}
    page = client_for(coach).get(reverse("diagnosis:picker", args=[review.pk]), {"q": "hip turn"})
    assert "Too little hip turn" not in page.content.decode()


def test_an_own_entry_is_picked_linked_and_treated_like_any_other(client_for, coach, own, student):
    mine = client_for(coach)
    fields = {
        "name": "Flying elbow", "clause": "your elbow flies out", "kind": "compensation",
        "view": "face_on", "cause": "little-shoulder-turn",
    }  # fmt: skip
    assert mine.post(url("own_entry", own), fields).status_code == 302
    assert mine.post(url("own_entry", own), fields).status_code == 400  # the name is taken
    review = make_review(student=student, figures={})
    suggested.add_entry(review=review, by=coach, entry="little-shoulder-turn")
    finding = suggested.add_entry(review=review, by=coach, entry="own-flying-elbow")
    assert finding.text == "your elbow flies out"
    assert finding.causal_links.get().cause.entry == "little-shoulder-turn"
    assert "Flying elbow" in mine.get(url("entries", own)).content.decode()


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"limits": {"balance_pct@address": {"at_least": 70.0, "at_most": 60.0}}}, "limit"),
        ({"limits": {"balance_pct@address": {"at_least": 1e9}}}, "limit"),
        ({"name": "x" * 81}, "too_long"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(coach, own, fields, code):
    with pytest.raises(LessonError) as refused:
        studio.change_entry(studio=own, by=coach, entry="balanced-at-address", **fields)
    assert refused.value.code == code and not StudioEntry.objects.exists()


def test_a_limit_in_words_is_refused_and_what_was_typed_stays(client_for, coach, own):
    fields = {"name": "Mine", "pelvis_sway_cm@top:at_least": "far"}
    page = client_for(coach).post(url("entry", own, "sway"), fields)
    assert page.status_code == 400
    assert "Write a limit as a number." in page.content.decode()
    assert 'value="Mine"' in page.content.decode() and 'value="far"' in page.content.decode()


@pytest.mark.parametrize("kind", ["fault", ""])
def test_an_own_entry_of_no_kind_is_refused(coach, own, kind):
    with pytest.raises(LessonError):
        studio.add_own_entry(studio=own, by=coach, name="A", clause="you a", kind=kind)
