"""Pages and fragments of the diagnosis: who may, who may not, and one success each."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from coaching.diagnosis.models import Because, Finding
from coaching.people.models import BodyNote
from coaching.review.services import publish_review
from tests import factories
from tests.coaching.practice.making import make_finding, make_review

pytestmark = pytest.mark.django_db
FRAGMENT = {"headers": {"X-Fragment": "1"}}


@pytest.fixture
def review(student):
    return make_review(student=student)


@pytest.fixture
def coach_client(client_for, coach):
    return client_for(coach)


def url(name, row):
    return reverse(f"diagnosis:{name}", args=[row.pk])


ON_REVIEW = ("add", "accept", "dismiss", "suggest_again", "link", "unlink", "move", "keep")
ON_FINDING = ("edit", "remove", "limit", "settle", "look_again")


class TestStrangers:
    @pytest.mark.parametrize("name", ON_REVIEW)
    def test_a_strangers_review_is_not_there(self, client_for, review, stranger, name):
        make_finding(review=review)
        for user in (stranger, review.student.user):
            assert client_for(user).post(url(name, review)).status_code == 404
        assert Finding.objects.count() == 1

    @pytest.mark.parametrize("name", ON_FINDING)
    def test_a_strangers_finding_is_not_there(self, client_for, review, stranger, name):
        finding = make_finding(review=review)
        for user in (stranger, review.student.user):
            assert client_for(user).post(url(name, finding)).status_code == 404
        assert Finding.objects.filter(pk=finding.pk, closed_at=None).exists()

    def test_reading(self, client_for, review, stranger):
        theirs = client_for(stranger)
        assert theirs.get(url("margin", review)).status_code == 404
        assert theirs.get(url("shown", review.student)).status_code == 404
        question = make_finding(review=review, kind="question", words="your hips tilt")
        publish_review(review=review, by=review.coach)
        for user in (stranger, review.coach):  # only the student answers
            assert client_for(user).get(url("answer", question)).status_code == 404

    @pytest.mark.parametrize("name", ["limit", "settle", "look_again"])
    def test_an_assistant_decides_nothing(self, client_for, review, name):
        assistant = factories.make_coach(studio=review.student.studio, role="assistant")
        finding = make_finding(review=review)
        assert client_for(assistant).post(url(name, finding)).status_code == 404
        assert (
            client_for(assistant)
            .post(url("add", review), {"kind": "cause", "words": "prepared"})
            .status_code
            == 302
        )

    def test_signed_out_people_sign_in_first(self, client, review):
        answer = client.get(url("margin", review))
        assert answer.status_code == 302 and "next=" in answer.url


class TestTheMargin:
    def test_without_script_every_form_leads_back_to_the_room(self, coach_client, review):
        answer = coach_client.post(url("add", review), {"kind": "cause", "words": "you sway"})
        room = reverse("review:room", args=[review.submissions.get().pk])
        assert (answer.status_code, answer.url) == (302, room + "#findings")
        assert review.findings.get().words == "you sway"

    def test_with_script_the_fragment_answers(self, coach_client, review):
        answer = coach_client.post(
            url("add", review), {"kind": "cause", "words": "you sway"}, **FRAGMENT
        )
        assert answer.status_code == 200
        assert "You sway" in answer.content.decode()
        assert "<html" not in answer.content.decode()

    def test_a_refusal_is_one_sentence(self, coach_client, review):
        answer = coach_client.post(url("add", review), {"kind": "cause"}, **FRAGMENT)
        assert answer.status_code == 400
        assert "Say in a few words what you see." in answer.content.decode()

    def test_a_finding_hung_on_a_figure_with_its_cause(self, coach_client, review):
        cause = make_finding(review=review)
        row = review.submissions.get().video.runs.get(kind="measure").measurements.first()
        fields = {"kind": "compensation", "words": "x", "because": cause.pk, "measurement": row.pk}
        coach_client.post(url("add", review), fields)
        finding = Finding.objects.latest("pk")
        assert finding.measurement == row
        assert Because.objects.get().cause == cause

    def test_anothers_figure_or_finding_is_not_there(self, coach_client, review):
        other = make_finding()
        row = other.review.submissions.get().video.runs.get(kind="measure").measurements.first()
        for extra in ({"because": other.pk}, {"measurement": row.pk}, {"because": "x"}):
            fields = {"kind": "cause", "words": "x"} | extra
            assert coach_client.post(url("add", review), fields).status_code == 404
        assert not review.findings.exists()

    def test_suggestions_are_taken_edited_and_waved_off(self, coach_client, review):
        page = coach_client.get(url("margin", review)).content.decode()
        assert "Shaft near upright late in the backswing" in page
        coach_client.post(url("accept", review), {"rule": "shaft-upright-late"})
        coach_client.post(
            url("accept", review), {"rule": "little-pelvis-turn", "words": "you hardly turn"}
        )
        coach_client.post(url("dismiss", review), {"rule": "stands-up-after-upright-shaft"})
        words = set(review.findings.values_list("words", flat=True))
        assert words == {"the shaft is too upright late in the backswing", "you hardly turn"}
        page = coach_client.get(url("margin", review)).content.decode()
        assert "Upper body stands up" not in page
        coach_client.post(url("suggest_again", review))
        assert "Upper body stands up" in coach_client.get(url("margin", review)).content.decode()

    def test_linking_and_unlinking(self, coach_client, review):
        a, b = make_finding(review=review), make_finding(review=review, words="b")
        ends = {"effect": b.pk, "cause": a.pk}
        coach_client.post(url("link", review), ends)
        assert Because.objects.count() == 1
        answer = coach_client.post(url("link", review), {"effect": a.pk, "cause": b.pk}, **FRAGMENT)
        assert answer.status_code == 400
        assert "round in a circle" in answer.content.decode()
        coach_client.post(url("unlink", review), ends)
        assert not Because.objects.exists()

    def test_order_words_and_what_to_keep(self, coach_client, review):
        a, b = make_finding(review=review), make_finding(review=review, words="b")
        coach_client.post(url("move", review), {"finding": b.pk, "to": "earlier"})
        assert review.plan.order == [b.pk, a.pk]
        coach_client.post(url("move", review), {"to": "computed"})
        review.plan.refresh_from_db()
        assert review.plan.order == []
        coach_client.post(url("keep", review), {"words": "Your rhythm."})
        review.plan.refresh_from_db()
        assert review.plan.keep_words == "Your rhythm."
        coach_client.post(url("edit", b), {"words": "c", "kind": "harmless"})
        b.refresh_from_db()
        assert (b.words, b.kind) == ("c", "harmless")
        coach_client.post(url("remove", b))
        assert not Finding.objects.filter(pk=b.pk).exists()

    def test_a_sent_answer_refuses_and_says_why(self, coach_client, review):
        finding = make_finding(review=review)
        publish_review(review=review, by=review.coach)
        answer = coach_client.post(url("remove", finding), **FRAGMENT)
        assert answer.status_code == 409
        assert "has been sent" in answer.content.decode()

    def test_quick_tags_are_one_tap(self, coach_client, review):
        page = coach_client.get(url("margin", review)).content.decode()
        assert 'value="your lead wrist cups at the top"' in page
        fields = {"tag": "lead_wrist", "kind": "cause", "words": "your lead wrist cups at the top"}
        coach_client.post(url("add", review), fields)
        assert review.findings.get().tag == "lead_wrist"

    def test_queries_do_not_grow_with_findings(
        self, coach_client, review, django_assert_max_num_queries
    ):
        for number in range(12):
            make_finding(review=review, words=f"finding {number}")
        with django_assert_max_num_queries(30):
            coach_client.get(url("margin", review))


class TestPages:
    def test_the_student_reads_what_was_found(self, client_for, review):
        cause = make_finding(review=review, words="the shaft is too upright")
        make_finding(review=review, kind="compensation", words="you stand up", because=[cause])
        mine = client_for(review.student.user)
        assert "the shaft" not in mine.get(url("shown", review.student)).content.decode()
        publish_review(review=review, by=review.coach)
        page = mine.get(url("shown", review.student)).content.decode()
        assert "You stand up because the shaft is too upright; we change that first." in page
        assert "Yours to decide" not in page

    def test_a_question_is_answered_once(self, client_for, review):
        question = make_finding(
            review=review, kind="question", words="your hips tilt", rule="little-turn-tilting-hips"
        )
        mine = client_for(review.student.user)
        assert mine.get(url("answer", question)).status_code == 404  # still a draft
        publish_review(review=review, by=review.coach)
        page = mine.get(url("answer", question)).content.decode()
        assert "Does it stop, pinch or hurt?" in page
        refused = mine.post(url("answer", question), {"words": ""})
        assert refused.status_code == 400
        assert "Write a few words" in refused.content.decode()
        assert mine.post(url("answer", question), {"words": "It stops."}).status_code == 302
        assert mine.post(url("answer", question), {"words": "Twice."}).status_code == 409
        question.refresh_from_db()
        assert question.answer == "It stops."

    def test_the_coach_decides_after_the_answer(self, coach_client, review):
        question = make_finding(review=review, kind="question", words="your hips tilt")
        freed = make_finding(review=review, kind="compensation", words="you stand up")
        publish_review(review=review, by=review.coach)
        Finding.objects.filter(pk=question.pk).update(answered_at=timezone.now(), answer="stiff")
        Finding.objects.filter(pk=freed.pk).update(look_again_at=timezone.now())
        note = BodyNote.objects.create(student=review.student, region="hip", kind="stiff")
        page = coach_client.get(url("shown", review.student)).content.decode()
        assert "stiff" in page and "Is it still there?" in page
        coach_client.post(url("limit", question), {"body_note": note.pk})
        coach_client.post(url("look_again", freed), {"still_there": "no"})
        question.refresh_from_db()
        freed.refresh_from_db()
        assert question.limit_at and freed.closed_at

    def test_settling(self, coach_client, review):
        question = make_finding(review=review, kind="question", words="your hips tilt")
        publish_review(review=review, by=review.coach)
        coach_client.post(url("settle", question))
        question.refresh_from_db()
        assert question.closed_at is None
        Finding.objects.filter(pk=question.pk).update(answered_at=timezone.now())
        coach_client.post(url("settle", question))
        question.refresh_from_db()
        assert question.closed_at is not None

    def test_an_empty_page_says_so(self, coach_client, student):
        page = coach_client.get(url("shown", student)).content.decode()
        assert "Nothing has been found yet." in page
