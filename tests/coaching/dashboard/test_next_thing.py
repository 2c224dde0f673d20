"""The one thing a student is told to do, in the order that protects the body first."""

import pytest
from django.utils import timezone

from coaching.dashboard import queries
from coaching.diagnosis.models import Finding
from coaching.review.models import Review
from tests import factories

pytestmark = pytest.mark.django_db


def told(student):
    return queries.student_home(student, student.user)["next"]


def test_the_body_is_asked_about_before_anything_else(coach):
    student = factories.make_student(coach=coach, body_asked_at=None)
    factories.make_request(student=student)
    assert "what hurts or is stiff" in told(student).sentence


def test_a_question_about_the_body_comes_before_filming(student):
    factories.make_request(student=student)
    review = Review.objects.create(student=student, published_at=timezone.now())
    Finding.objects.create(
        student=student, review=review, kind="question", text="does your hip feel stiff"
    )
    assert "question about your body" in told(student).sentence


def test_the_angle_still_missing_is_the_one_button(student):
    request = factories.make_request(student=student, angles=0)
    factories.make_angle(request=request, view="face_on", kind="rehearsal", repetitions=3)
    step = told(student)
    assert step.sentence == "Film your slow rehearsal face on: 3 swings."
    assert step.label == "Film it"


def test_a_refused_clip_says_to_film_again(student):
    clip = factories.make_submission(student=student)
    factories.make_checked(clip, reject="body_cut")
    assert "film again" in told(student).sentence


def test_a_clip_with_the_coach_says_when_the_answer_comes(student):
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, {})
    step = told(student)
    assert "answers by" in step.sentence
    assert not step.url


def test_nothing_to_do_is_said_plainly(student):
    assert "Nothing to film now" in told(student).sentence
