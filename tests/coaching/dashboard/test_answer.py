"""The answer: what the student gets is what the coach previews."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.urls import reverse

from coaching.diagnosis.models import Finding, Plan
from coaching.review.models import Review
from coaching.review.services import sending
from tests import factories
from tests.coaching.practice.making import make_assignment, make_finding, make_review
from tests.coaching.review.clips import make_film

pytestmark = pytest.mark.django_db


def test_answer_has_all(client_for: Any) -> None:
    """One page: the sentence, the words, why, each finding with its still and figure, what to
    do, when playing, the clips, and the two ways to end. The coach previews the same page."""
    review = make_review()
    student = review.student
    clip = review.submissions.get()
    make_film(clip.video)
    row = clip.video.measured().measurements.get(measure="pelvis_turn_deg")
    cause = make_finding(review=review)
    Finding.objects.filter(pk=cause.pk).update(
        measurement=row, measure=row.measure, event=row.event, value=row.value,
        uncertainty=row.uncertainty, video=clip.video,
    )  # fmt: skip
    make_finding(review=review, kind="strength", text="your tempo is even")
    Plan.objects.update_or_create(review=review, defaults={"keep_note": "Think of nothing."})
    Review.objects.filter(pk=review.pk).update(text="We do one thing this week.")
    assignment = make_assignment(review=review, opened=False, finding=cause)
    preview = client_for(student.coach).get(reverse("review:preview", args=[review.pk])).text
    review.refresh_from_db()
    sending.publish_review(review=review, by=student.coach)
    client = client_for(student.user)
    page = client.get(reverse("review:read", args=[review.pk])).text
    for text in (page, preview):
        assert re.search(r"<h1>\s*Your hips barely turn. We start here.\s*</h1>", text)
        assert "We do one thing this week." in text
        assert '<figure class="stones">' in text
        assert f"/review/video/{clip.video_id}/still?event=top" in text
        assert "24° ± 8 at the top" in text
        assert "Your tempo is even" in text and "keep this" in text
        assert reverse("practice:drill", args=[assignment.pk]) in text
        assert "Stop if it hurts." in text and "Think of nothing." in text
        assert f'data-src="/review/video/{clip.video_id}/data"' in text
        assert "Half speed" in text and text.count("data-mark=") == 4
        assert reverse("intake:submission", args=[clip.pk]) in text
    assert "Understood" in page and "I have a question" in page
    assert "Understood" not in preview
    # Understood: the coach sees it, and home leads with the next thing.
    client.post(reverse("review:understood", args=[review.pk]))
    assert "You have said that you understood" in client.get(page_of(review)).text
    thread = client_for(student.coach).get(reverse("thread", args=[student.pk])).text
    assert "Understood on" in thread


def page_of(review: Review) -> str:
    return reverse("review:read", args=[review.pk])


def test_only_the_students_side_says_understood(client_for: Any) -> None:
    review = make_assignment().review
    address = reverse("review:understood", args=[review.pk])
    assert client_for(review.student.coach).post(address).status_code == 404
    assert client_for(factories.make_coach()).post(address).status_code == 404


def test_a_guardian_reads_of_the_child_and_the_child_of_itself(coach: Any, client_for: Any) -> None:
    minor = factories.make_student(
        coach=coach, name="Nell Dunmarrow", age_band="under_18", consents=False
    )
    guardian = factories.make_guardian(student=minor)
    factories.make_consents(minor, given_by=guardian)
    review = make_review(student=minor)
    sending.publish_review(review=review, by=coach)
    pages = [
        reverse("review:read", args=[review.pk]),
        reverse("practice:progress", args=[minor.pk]),
    ]
    read, progress = (client_for(guardian).get(page).content.decode() for page in pages)
    assert "Nell’s films" in read and "Your films" not in read
    assert "Nell’s first drill films" in " ".join(progress.split())
    own = client_for(minor.user).get(pages[0]).content.decode()
    assert "Your films" in own and "Nell’s" not in own
