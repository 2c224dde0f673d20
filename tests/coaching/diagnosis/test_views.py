"""Pages and fragments of the diagnosis: who may, who may not, and one success each."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from coaching.diagnosis.models import CausalLink, Finding
from coaching.people.models import BodyNote
from coaching.review.services.sending import publish_review
from tests import factories
from tests.coaching.practice.making import PITCH, TURN, make_finding, make_review

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


ON_REVIEW = ("add", "accept", "pick", "by_eye", "ball", "dismiss", "suggest_again")
ON_REVIEW += ("link", "unlink", "move", "keep")
ON_FINDING = ("edit", "remove", "limit", "resolve", "look_again")


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
        assert theirs.get(url("sidebar", review)).status_code == 404
        assert theirs.get(url("shown", review.student)).status_code == 404
        question = make_finding(review=review, kind="question", text="your hips tilt")
        publish_review(review=review, by=review.coach)
        for user in (stranger, review.coach):  # only the student answers
            assert client_for(user).get(url("answer", question)).status_code == 404

    @pytest.mark.parametrize("name", ["limit", "resolve", "look_again"])
    def test_an_assistant_decides_nothing(self, client_for, review, name):
        assistant = factories.make_coach(studio=review.student.studio, role="assistant")
        finding = make_finding(review=review)
        assert client_for(assistant).post(url(name, finding)).status_code == 404
        assert (
            client_for(assistant)
            .post(url("add", review), {"kind": "cause", "text": "prepared"})
            .status_code
            == 302
        )

    def test_signed_out_people_sign_in_first(self, client, review):
        answer = client.get(url("sidebar", review))
        assert answer.status_code == 302 and "next=" in answer.url


class TestTheMargin:
    def test_without_script_every_form_leads_back_to_the_room(self, coach_client, review):
        answer = coach_client.post(url("add", review), {"kind": "cause", "text": "you sway"})
        room = reverse("review:room", args=[review.submissions.get().pk])
        assert (answer.status_code, answer.url) == (302, room + "#findings")
        assert review.findings.get().text == "you sway"

    def test_with_script_the_fragment_answers(self, coach_client, review):
        answer = coach_client.post(
            url("add", review), {"kind": "cause", "text": "you sway"}, **FRAGMENT
        )
        assert answer.status_code == 200
        assert "You sway" in answer.content.decode()
        assert "<html" not in answer.content.decode()

    def test_a_refusal_is_one_sentence(self, coach_client, review):
        answer = coach_client.post(url("add", review), {"kind": "cause"}, **FRAGMENT)
        assert answer.status_code == 400
        assert "Say in a few words what you see." in answer.content.decode()

    def test_two_people_in_one_finding_never_overwrite_each_other(self, coach_client, review):
        finding = make_finding(review=review, text="you sway", kind="cause")
        shown = {"was_text": "you sway"}  # what both pages were drawn with
        address = url("edit", finding)
        first = coach_client.post(address, shown | {"text": "you slide"}, **FRAGMENT)
        second = coach_client.post(address, shown | {"text": "you lean"}, **FRAGMENT)
        page = second.content.decode()
        assert (first.status_code, second.status_code) == (200, 409)
        finding.refresh_from_db()
        assert finding.text == "you slide"
        assert "“you slide”" in page and ">you lean</textarea>" in page  # both are there
        kind = coach_client.post(address, {"was_kind": "cause", "kind": "compensation"})
        assert kind.status_code == 302
        finding.refresh_from_db()  # who says what it is leaves the words alone
        assert (finding.text, finding.kind) == ("you slide", "compensation")
        late = coach_client.post(address, {"was_kind": "cause", "kind": "strength"}, **FRAGMENT)
        assert late.status_code == 409
        shown = {"was_text": "you slide"}  # as the refused page was drawn
        assert coach_client.post(address, shown | {"text": "you lean"}).status_code == 302
        finding.refresh_from_db()
        assert (finding.text, finding.kind) == ("you lean", "compensation")

    def test_two_notes_for_the_course_are_both_kept(self, coach_client, review):
        address = url("keep", review)
        for text, status in (("Aim.", 200), ("Breathe.", 409), ("Aim. ", 200)):
            answer = coach_client.post(address, {"was": "", "text": text}, **FRAGMENT)
            assert answer.status_code == status
            assert text.strip() in answer.content.decode()
        assert review.plan.keep_note == "Aim."

    def test_a_finding_hung_on_a_figure_with_its_cause(self, coach_client, review):
        cause = make_finding(review=review)
        row = review.submissions.get().video.runs.get(kind="measure").measurements.first()
        fields = {"kind": "compensation", "text": "x", "because": cause.pk, "measurement": row.pk}
        coach_client.post(url("add", review), fields)
        finding = Finding.objects.latest("pk")
        assert finding.measurement == row
        assert CausalLink.objects.get().cause == cause

    def test_anothers_figure_or_finding_is_not_there(self, coach_client, review):
        other = make_finding()
        row = other.review.submissions.get().video.runs.get(kind="measure").measurements.first()
        for extra in ({"because": other.pk}, {"measurement": row.pk}, {"because": "x"}):
            fields = {"kind": "cause", "text": "x"} | extra
            assert coach_client.post(url("add", review), fields).status_code == 404
        assert not review.findings.exists()

    def test_suggestions_are_taken_edited_and_dismissed(self, coach_client, review):
        page = coach_client.get(url("sidebar", review)).content.decode()
        assert "Shaft too upright late in the backswing" in page
        assert "% sure" not in page
        coach_client.post(url("accept", review), {"entry": "steep-late-back"})
        coach_client.post(
            url("accept", review), {"entry": "little-hip-turn", "text": "you hardly turn"}
        )
        coach_client.post(url("dismiss", review), {"entry": "loss-of-posture"})
        text = set(review.findings.values_list("text", flat=True))
        assert text == {"the club stands too upright late in the backswing", "you hardly turn"}
        suggested = 'name="entry" value="loss-of-posture"'
        assert suggested not in coach_client.get(url("sidebar", review)).content.decode()
        coach_client.post(url("suggest_again", review))
        assert suggested in coach_client.get(url("sidebar", review)).content.decode()

    def test_what_is_worth_a_look_is_folded_and_counted(self, coach_client, student):
        review = make_review(student=student, figures={TURN: (29.0, 6.5)})
        page = coach_client.get(url("sidebar", review)).content.decode()
        assert "One more is worth a look" in page

    def test_the_list_is_found_by_words_and_by_view(self, coach_client, review):
        page = coach_client.get(url("picker", review), {"q": "ear"}, **FRAGMENT).content.decode()
        assert 'data-entry="early-extension"' in page and "Measured in these clips" in page
        assert 'data-text="ear"' in page
        face = coach_client.get(url("picker", review), {"view": "face_on"}).content.decode()
        assert "Sway" in face and "Over the top" not in face
        nothing = coach_client.get(url("picker", review), {"q": "xqzw"}).content.decode()
        assert "Nothing in the list has these words." in nothing

    def test_picking_adds_the_entry_for_what_it_causes(self, coach_client, review):
        effect = make_finding(review=review, kind="compensation", entry="early-extension")
        fields = {"entry": "ask-the-hip", "effect": effect.pk}
        page = coach_client.post(url("pick", review), fields, **FRAGMENT).content.decode()
        assert "Ask about the hips" in page
        assert CausalLink.objects.get().cause.kind == "question"

    def test_usual_causes_say_what_the_figures_say(self, coach_client, review):
        make_finding(review=review, kind="compensation", entry="early-extension", text="x")
        page = coach_client.get(url("sidebar", review)).content.decode()
        assert "Usual causes, not said yet" in page
        assert "measured: 24° ± 8" in page

    def test_the_ball_is_shown_first_and_put_at_the_end(self, coach_client, student):
        student.strike, student.usual_miss = "thin", "mostly with irons"
        student.save()
        review = make_review(student=student)
        page = coach_client.get(url("sidebar", review)).content.decode()
        assert "Thin. “mostly with irons”" in page
        assert page.index("what the ball does, as") < page.index("The figures suggest")
        coach_client.post(url("ball", review))
        assert review.findings.get().entry == "strike-thin"

    def test_i_see_it(self, coach_client, student):
        review = make_review(student=student, figures={PITCH: "shaft_end_on"})
        page = coach_client.get(url("sidebar", review)).content.decode()
        assert "The club points at the camera" in page
        fields = {"figure": "shaft_pitch_deg@late_back", "entry": "steep-late-back"}
        coach_client.post(url("by_eye", review), fields)
        assert review.findings.get().is_by_eye

    def test_linking_and_unlinking(self, coach_client, review):
        a, b = make_finding(review=review), make_finding(review=review, text="b")
        ends = {"effect": b.pk, "cause": a.pk}
        coach_client.post(url("link", review), ends)
        assert CausalLink.objects.count() == 1
        answer = coach_client.post(url("link", review), {"effect": a.pk, "cause": b.pk}, **FRAGMENT)
        assert answer.status_code == 400
        assert "round in a circle" in answer.content.decode()
        coach_client.post(url("unlink", review), ends)
        assert not CausalLink.objects.exists()

    def test_order_words_and_what_to_keep(self, coach_client, review):
        a, b = make_finding(review=review), make_finding(review=review, text="b")
        coach_client.post(url("move", review), {"finding": b.pk, "to": "earlier"})
        assert review.plan.order == [b.pk, a.pk]
        coach_client.post(url("move", review), {"to": "computed"})
        review.plan.refresh_from_db()
        assert review.plan.order == []
        coach_client.post(url("keep", review), {"text": "Your rhythm."})
        review.plan.refresh_from_db()
        assert review.plan.keep_note == "Your rhythm."
        coach_client.post(url("edit", b), {"text": "c", "kind": "harmless"})
        b.refresh_from_db()
        assert (b.text, b.kind) == ("c", "harmless")
        coach_client.post(url("remove", b))
        assert not Finding.objects.filter(pk=b.pk).exists()

    def test_a_sent_answer_refuses_and_says_why(self, coach_client, review):
        finding = make_finding(review=review)
        publish_review(review=review, by=review.coach)
        answer = coach_client.post(url("remove", finding), **FRAGMENT)
        assert answer.status_code == 409
        assert "was sent" in answer.content.decode()

    def test_queries_do_not_grow_with_findings(
        self, coach_client, review, django_assert_max_num_queries
    ):
        for number in range(12):
            make_finding(review=review, text=f"finding {number}")
        with django_assert_max_num_queries(30):
            coach_client.get(url("sidebar", review))


class TestPages:
    def test_the_student_reads_what_was_found(self, client_for, review):
        cause = make_finding(review=review, text="the shaft is too upright")
        make_finding(review=review, kind="compensation", text="you stand up", because=[cause])
        mine = client_for(review.student.user)
        assert "the shaft" not in mine.get(url("shown", review.student)).content.decode()
        publish_review(review=review, by=review.coach)
        page = mine.get(url("shown", review.student)).content.decode()
        assert "You stand up because the shaft is too upright; we change that first." in page
        assert "Yours to decide" not in page

    def test_a_question_is_answered_once(self, client_for, review):
        question = make_finding(
            review=review, kind="question", text="your hips tilt", entry="ask-the-hip"
        )
        mine = client_for(review.student.user)
        assert mine.get(url("answer", question)).status_code == 404  # still a draft
        publish_review(review=review, by=review.coach)
        page = mine.get(url("answer", question)).content.decode()
        assert "Does a hip stop you, pinch or hurt?" in page
        refused = mine.post(url("answer", question), {"text": ""})
        assert refused.status_code == 400
        assert "Write a few words" in refused.content.decode()
        assert mine.post(url("answer", question), {"text": "It stops."}).status_code == 302
        assert mine.post(url("answer", question), {"text": "Twice."}).status_code == 409
        question.refresh_from_db()
        assert question.answer == "It stops."

    def test_the_coach_decides_after_the_answer(self, coach_client, review):
        question = make_finding(review=review, kind="question", text="your hips tilt")
        passed = make_finding(review=review)
        freed = make_finding(
            review=review, kind="compensation", text="you stand up", because=[passed]
        )
        publish_review(review=review, by=review.coach)
        Finding.objects.filter(pk=passed.pk).update(closed_at=timezone.now())
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
        question = make_finding(review=review, kind="question", text="your hips tilt")
        publish_review(review=review, by=review.coach)
        coach_client.post(url("resolve", question))
        question.refresh_from_db()
        assert question.closed_at is None
        Finding.objects.filter(pk=question.pk).update(answered_at=timezone.now())
        coach_client.post(url("resolve", question))
        question.refresh_from_db()
        assert question.closed_at is not None

    def test_an_empty_page_says_so(self, coach_client, student):
        page = coach_client.get(url("shown", student)).content.decode()
        assert "Nothing has been found yet." in page
