"""Findings on a real database: written, linked, suggested, laid to rest."""

from __future__ import annotations

import pytest
from django.utils import timezone

from coaching.diagnosis import queries, services
from coaching.diagnosis.models import Because, Finding
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote
from coaching.review.services import publish_review
from tests import factories
from tests.coaching.practice.making import TURN, make_finding, make_review
from tests.coaching.review.bars import hold_a_bar

pytestmark = pytest.mark.django_db


def refused(code: str, call, **arguments):
    with pytest.raises(LessonError) as told:
        call(**arguments)
    assert told.value.code == code, told.value.sentence
    return told.value


class TestFindings:
    def test_a_finding_keeps_the_figure_it_hangs_on(self):
        review = make_review()
        clip = review.submissions.get()
        row = clip.video.runs.get(kind="measure").measurements.get(measure="pelvis_turn_deg")
        finding = make_finding(review=review, measurement=row)
        assert (finding.measure, finding.event) == ("pelvis_turn_deg", "top")
        assert (finding.value, finding.uncertainty) == (24.0, 4.0)
        assert finding.video == clip.video
        row.delete()
        finding.refresh_from_db()
        assert finding.value == 24.0

    def test_words_lose_their_full_stop(self):
        assert make_finding(words="  the grip\n is weak. ").words == "the grip is weak"

    def test_refusals(self):
        review = make_review()
        add = {"review": review, "by": review.coach, "kind": "cause", "words": "x"}
        refused("no_words", services.add_finding, **(add | {"words": " . "}))
        refused("unknown", services.add_finding, **(add | {"kind": "fault"}))
        refused("unknown", services.add_finding, **(add | {"tag": "socks"}))
        foreign = make_review()
        row = foreign.submissions.get().video.runs.get(kind="measure").measurements.first()
        refused("wrong_student", services.add_finding, **add, measurement=row)

    def test_a_sent_answer_never_changes(self):
        finding = make_finding()
        publish_review(review=finding.review, by=finding.review.coach)
        finding.refresh_from_db()
        assert (
            refused("published", services.edit_finding, finding=finding, by=None, words="y").status
            == 409
        )
        refused("published", services.remove_finding, finding=finding)
        refused(
            "published", services.add_finding,
            review=finding.review, by=None, kind="cause", words="z",
        )  # fmt: skip

    def test_editing_and_removing_a_draft(self):
        finding = make_finding()
        services.edit_finding(finding=finding, by=None, words="you sway", kind="compensation")
        finding.refresh_from_db()
        assert (finding.words, finding.kind) == ("you sway", "compensation")
        services.remove_finding(finding=finding)
        assert not Finding.objects.filter(pk=finding.pk).exists()


class TestLinks:
    def test_a_circle_is_refused_and_named(self):
        review = make_review()
        a, b, c = (make_finding(review=review, words=w) for w in ("a is", "b is", "c is"))
        services.link(effect=b, cause=a)
        services.link(effect=c, cause=b)
        told = refused("circle", services.link, effect=a, cause=c)
        assert "a is because c is because b is because a is" in told.sentence
        assert Because.objects.count() == 2

    def test_the_same_link_twice_is_one(self):
        review = make_review()
        a, b = make_finding(review=review), make_finding(review=review)
        services.link(effect=b, cause=a)
        services.link(effect=b, cause=a)
        assert Because.objects.count() == 1
        services.unlink(effect=b, cause=a)
        assert not Because.objects.exists()

    def test_two_students_are_never_linked(self):
        refused("wrong_student", services.link, effect=make_finding(), cause=make_finding())

    def test_a_new_finding_may_rest_on_one_that_was_sent(self):
        old = make_finding(words="your hips barely turn")
        publish_review(review=old.review, by=old.review.coach)
        review = make_review(student=old.student)
        new = make_finding(review=review, words="you stand up", kind="compensation", because=[old])
        standing = queries.diagnosis_of(old.student, review)
        assert [line.finding for line in standing.lines] == [old, new]
        assert standing.lines[1].state == "leave"


class TestSuggestions:
    def test_upright_shaft_and_little_turn(self):
        review = make_review()
        ids = [s.rule.id for s in queries.suggestions_for(review)]
        assert ids[:2] == ["little-pelvis-turn", "shaft-upright-late"]
        assert "toward-the-ball-after-upright-shaft" in ids

    def test_a_turn_with_a_held_club_is_not_the_swings_turn(self):
        review = make_review(figures={TURN: (50.0, 4.0)})
        bar = hold_a_bar(review.student, figure=[(20, 1)], bar=[(20, 1)])
        review.submissions.add(bar)
        figures = queries.figures_of(review.submissions.all())
        assert figures[TURN][0][0] == 50.0
        assert figures["bar_turn_deg", "top"][0][0] == 20.0
        assert ("shoulder_turn_deg", "top") not in figures

    def test_taking_them_draws_the_links_in_any_order(self):
        review = make_review()
        rules = [s.rule.id for s in queries.suggestions_for(review)]
        for rule in reversed(rules):
            services.accept_suggestion(review=review, by=review.coach, rule=rule)
        assert queries.suggestions_for(review) == []
        rows = {f.rule: f for f in review.findings.all()}
        shaft = rows["shaft-upright-late"]
        moved = rows["toward-the-ball-after-upright-shaft"]
        assert Because.objects.filter(effect=moved, cause=shaft).exists()
        assert Because.objects.filter(effect=shaft, cause=rows["little-pelvis-turn"]).exists()
        lines = queries.diagnosis_of(review.student, review).lines
        assert [line.finding.rule for line in lines][:2] == [
            "little-pelvis-turn",
            "shaft-upright-late",
        ]
        assert {line.state for line in lines[2:]} == {"leave"}

    def test_own_words_and_kind(self):
        review = make_review()
        finding = services.accept_suggestion(
            review=review, by=review.coach, rule="shaft-upright-late", words="it is steep"
        )
        assert (finding.words, finding.value) == ("it is steep", 88.0)

    def test_a_dismissal_is_remembered_for_the_student(self):
        review = make_review()
        services.dismiss_suggestion(
            student=review.student, rule="shaft-upright-late", by=review.coach
        )
        later = make_review(student=review.student)
        assert "shaft-upright-late" not in {s.rule.id for s in queries.suggestions_for(later)}
        elsewhere = make_review()
        assert "shaft-upright-late" in {s.rule.id for s in queries.suggestions_for(elsewhere)}
        services.suggest_again(student=review.student, rule="shaft-upright-late")
        assert "shaft-upright-late" in {s.rule.id for s in queries.suggestions_for(later)}

    def test_a_suggestion_that_does_not_stand_is_refused(self):
        review = make_review(figures={})
        refused(
            "gone", services.accept_suggestion,
            review=review, by=None, rule="shaft-upright-late",
        )  # fmt: skip
        refused("unknown", services.dismiss_suggestion, student=review.student, rule="x", by=None)

    def test_left_and_right_handers_get_the_same_plan(self):
        plans = []
        for hand in ("right", "left"):
            review = make_review(student=factories.make_student(handedness=hand))
            for found in queries.suggestions_for(review):
                services.accept_suggestion(review=review, by=review.coach, rule=found.rule.id)
            standing = queries.diagnosis_of(review.student, review)
            plans.append([(ln.finding.rule, ln.state, ln.finding.words) for ln in standing.lines])
        assert plans[0] == plans[1]

    def test_a_hip_that_hurts_silences_more_turn(self):
        student = factories.make_student()
        BodyNote.objects.create(student=student, region="hip", kind="painful")
        review = make_review(student=student)
        assert "little-pelvis-turn" not in {s.rule.id for s in queries.suggestions_for(review)}

    def test_repetitions_of_a_film_are_averaged(self):
        review = make_review(figures={})
        run = review.submissions.get().video.runs.get(kind="measure")
        for repetition, value in enumerate((20.0, 22.0, 24.0)):
            factories.make_measurement(run=run, reading=(value, 4.0), repetition=repetition)
        found = queries.suggestions_for(review)[0]
        assert found.value == 22.0
        assert found.uncertainty < 4.0

    def test_a_rehearsal_tells_no_tempo(self):
        review = make_review(figures={("tempo_ratio", "impact"): (1.2, 0.1)})
        assert [s.rule.id for s in queries.suggestions_for(review)] == ["rushed-from-the-top"]
        video = review.submissions.get().video
        video.kind = "rehearsal"
        video.save()
        assert queries.suggestions_for(review) == []


class TestPlanAndSentences:
    def build(self):
        review = make_review(figures={})
        shaft = make_finding(review=review, words="the shaft is too upright late in the backswing")
        up = make_finding(
            review=review, kind="compensation", words="you stand up through impact",
            because=[shaft],
        )  # fmt: skip
        tempo = make_finding(review=review, kind="strength", words="your tempo is even")
        return review, shaft, up, tempo

    def test_the_sentence_of_the_student(self):
        review, *_ = self.build()
        told = queries.sentences(queries.diagnosis_of(review.student, review))
        assert told == [
            "The shaft is too upright late in the backswing. We start here.",
            "You stand up through impact because the shaft is too upright late in the"
            " backswing; we change that first.",
            "Your tempo is even: keep that.",
        ]

    def test_a_student_sees_nothing_of_a_draft(self):
        review, *_ = self.build()
        assert queries.diagnosis_of(review.student).lines == ()

    def test_the_coach_reorders(self):
        review, shaft, up, tempo = self.build()
        services.move_in_plan(review=review, finding=up, earlier=True)
        lines = queries.diagnosis_of(review.student, review).lines
        assert [line.finding for line in lines] == [up, shaft]
        assert lines[0].state == "leave"
        services.forget_order(review=review)
        assert queries.diagnosis_of(review.student, review).lines[0].finding == shaft
        refused("not_in_plan", services.move_in_plan, review=review, finding=tempo, earlier=True)

    def test_the_picture_names_states_in_words(self):
        review, shaft, up, tempo = self.build()
        picture = queries.diagnosis_of(review.student, review).picture
        notes = {node["id"]: (node["state"], node["note"]) for node in picture["nodes"]}
        assert notes[shaft.pk] == ("filled", "work on this")
        assert notes[up.pk] == ("outlined", "leave this for now")
        assert notes[tempo.pk] == ("double", "keep this")
        assert picture["edges"] == [[shaft.pk, up.pk]]

    def test_what_needs_a_ball_comes_later_for_somebody_without(self):
        student = factories.make_student(practice_place="none")
        review = make_review(student=student, figures={})
        strike = make_finding(review=review, tag="strike", words="you strike it thin")
        knees = make_finding(review=review, words="your knees are straight")
        lines = queries.diagnosis_of(student, review).lines
        assert [line.finding for line in lines] == [knees, strike]


class TestTheBody:
    def asked(self):
        review = make_review(figures={})
        question = make_finding(review=review, kind="question", words="your hips tilt")
        turn = make_finding(review=review, because=[question])
        other = make_finding(review=review, words="your knees are straight")
        publish_review(review=review, by=review.coach)
        return question, turn, other

    def test_a_question_holds_only_what_depends_on_it(self):
        question, turn, other = self.asked()
        lines = queries.diagnosis_of(question.student).lines
        states = {line.finding.pk: line.state for line in lines}
        assert states == {question.pk: "ask", turn.pk: "held", other.pk: "work"}

    def test_an_answer_reaches_the_thread_once(self):
        question, turn, _ = self.asked()
        user = question.student.user
        services.answer_question(finding=question, by=user, words="It  pinches a little")
        entry = Entry.objects.get(kind=Entry.Kind.BODY_NOTED)
        assert (entry.words, entry.refs) == ("It pinches a little", {"finding": question.pk})
        refused("answered", services.answer_question, finding=question, by=user, words="again")
        lines = queries.diagnosis_of(question.student).lines
        assert {ln.finding.pk: ln.state for ln in lines}[turn.pk] == "work"

    def test_an_empty_answer_is_refused(self):
        question, *_ = self.asked()
        refused("no_words", services.answer_question, finding=question, by=None, words="  ")

    def test_a_limit_shapes_the_plan(self):
        question, turn, _ = self.asked()
        note = BodyNote.objects.create(student=question.student, region="hip", kind="stiff")
        services.accept_limit(finding=question, by=None, body_note=note)
        note.refresh_from_db()
        assert note.accepted_as_limit_at is not None
        states = {ln.finding.pk: ln.state for ln in queries.diagnosis_of(question.student).lines}
        assert (states[question.pk], states[turn.pk]) == ("limit", "work")
        refused("kind", services.accept_limit, finding=turn, by=None)

    def test_another_students_note_is_refused(self):
        question, *_ = self.asked()
        note = BodyNote.objects.create(student=factories.make_student(), region="hip", kind="stiff")
        refused("wrong_student", services.accept_limit, finding=question, by=None, body_note=note)

    def test_settling_waits_for_the_answer(self):
        question, *_ = self.asked()
        refused("unanswered", services.settle_question, finding=question, by=None)
        services.answer_question(finding=question, by=None, words="no trouble")
        assert services.settle_question(finding=question, by=None).closed_at


class TestClosing:
    def test_closing_a_cause_frees_what_rested_on_nothing_else(self):
        review = make_review(figures={})
        one, two = make_finding(review=review), make_finding(review=review, words="the shaft is up")
        both = make_finding(
            review=review, kind="compensation", words="you stand up", because=[one, two]
        )
        publish_review(review=review, by=review.coach)
        one.refresh_from_db()
        assert services.close_finding(finding=one) == []
        two.refresh_from_db()
        assert services.close_finding(finding=two) == [both]
        both.refresh_from_db()
        assert both.look_again_at <= timezone.now()
        assert services.close_finding(finding=two) == []  # a second time changes nothing

    @pytest.mark.parametrize("still_there", [True, False])
    def test_a_new_look(self, still_there):
        finding = make_finding(kind="compensation", words="you stand up")
        refused("not_due", services.look_again, finding=finding, by=None, still_there=True)
        finding.look_again_at = timezone.now()
        finding.save()
        services.look_again(finding=finding, by=None, still_there=still_there)
        finding.refresh_from_db()
        assert (finding.kind == "cause", finding.closed_at is None) == (still_there, still_there)
