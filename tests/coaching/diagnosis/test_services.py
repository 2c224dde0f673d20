"""Findings on a real database: written, linked, suggested, laid to rest."""

from __future__ import annotations

import pytest
from django.utils import timezone

from coaching.diagnosis import queries, suggestions
from coaching.diagnosis.models import CausalLink, Finding
from coaching.diagnosis.services import findings, outcomes, planning, questions, suggested
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote
from coaching.practice.services import library, refusals
from coaching.review.models import Review
from coaching.review.services.sending import publish_review
from tests import factories
from tests.coaching.practice.making import PITCH, TURN, make_finding, make_review
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
        assert make_finding(text="  the grip\n is weak. ").text == "the grip is weak"

    def test_refusals(self):
        review = make_review()
        add = {"review": review, "by": review.coach, "kind": "cause", "text": "x"}
        refused("no_words", findings.add_finding, **(add | {"text": " . "}))
        refused("unknown", findings.add_finding, **(add | {"kind": "fault"}))
        refused("unknown", findings.add_finding, **(add | {"entry": "socks"}))
        foreign = make_review()
        row = foreign.submissions.get().video.runs.get(kind="measure").measurements.first()
        refused("wrong_student", findings.add_finding, **add, measurement=row)

    def test_a_sent_answer_never_changes(self):
        finding = make_finding()
        publish_review(review=finding.review, by=finding.review.coach)
        finding.refresh_from_db()
        assert (
            refused(
                "published",
                findings.edit_finding,
                finding=finding,
                by=finding.student.coach,
                text="y",
            ).status
            == 409
        )
        by = finding.student.coach
        refused("published", findings.remove_finding, finding=finding, by=by)
        refused(
            "published", findings.add_finding,
            review=finding.review, by=finding.review.student.coach, kind="cause", text="z",
        )  # fmt: skip

    def test_editing_and_removing_a_draft(self):
        finding = make_finding()
        findings.edit_finding(
            finding=finding, by=finding.student.coach, text="you sway", kind="compensation"
        )
        finding.refresh_from_db()
        assert (finding.text, finding.kind) == ("you sway", "compensation")
        findings.remove_finding(by=finding.student.coach, finding=finding)
        assert not Finding.objects.filter(pk=finding.pk).exists()


class TestLinks:
    def test_a_circle_is_refused_and_named(self):
        review = make_review()
        a, b, c = (make_finding(review=review, text=w) for w in ("a is", "b is", "c is"))
        findings.link(by=b.student.coach, effect=b, cause=a)
        findings.link(by=c.student.coach, effect=c, cause=b)
        told = refused("circle", findings.link, by=a.student.coach, effect=a, cause=c)
        assert "“a is” because of “c is” because of “b is” because of “a is”" in told.sentence
        assert CausalLink.objects.count() == 2

    def test_the_same_link_twice_is_one(self):
        review = make_review()
        a, b = (make_finding(review=review, text=w) for w in ("a is", "b is"))
        findings.link(by=b.student.coach, effect=b, cause=a)
        findings.link(by=b.student.coach, effect=b, cause=a)
        assert CausalLink.objects.count() == 1
        findings.unlink(by=b.student.coach, effect=b, cause=a)
        assert not CausalLink.objects.exists()

    def test_two_students_are_never_linked(self):
        effect = make_finding()
        ends = {"effect": effect, "cause": make_finding()}
        refused("wrong_student", findings.link, by=effect.student.coach, **ends)

    def test_a_new_finding_may_rest_on_one_that_was_sent(self):
        old = make_finding(text="your hips barely turn")
        publish_review(review=old.review, by=old.review.coach)
        review = make_review(student=old.student)
        new = make_finding(review=review, text="you stand up", kind="compensation", because=[old])
        standing = queries.diagnosis_of(old.student, review)
        assert [line.finding for line in standing.lines] == [old, new]
        assert standing.lines[1].state == "leave"


def ids(review):
    return [s.entry.id for s in suggestions.suggestions_for(review)]


class TestSuggestions:
    def test_cause_and_effects_each_by_itself(self):
        review = make_review()
        found = ids(review)
        assert {"little-hip-turn", "steep-late-back", "early-extension", "loss-of-posture"} <= set(
            found
        )
        assert found.index("little-hip-turn") < found.index("early-extension")

    def test_a_turn_with_a_held_club_is_not_the_swings_turn(self):
        review = make_review(figures={TURN: (50.0, 4.0)})
        bar = hold_a_bar(review.student, figure=[(20, 1)], bar=[(20, 1)])
        review.submissions.add(bar)
        figures = suggestions.figures_of(review.submissions.all())
        assert figures[TURN][0][0] == 50.0
        assert figures["bar_turn_deg", "top"][0][0] == 20.0
        assert ("shoulder_turn_deg", "top") not in figures

    def test_taking_them_draws_the_links_in_any_order(self):
        review = make_review()
        for entry in reversed(ids(review)):
            suggested.accept_suggestion(review=review, by=review.coach, entry=entry)
        assert suggestions.suggestions_for(review) == []
        rows = {f.entry: f for f in review.findings.all()}
        steep, moved = rows["steep-late-back"], rows["early-extension"]
        assert CausalLink.objects.filter(effect=moved, cause=steep).exists()
        assert CausalLink.objects.filter(effect=steep, cause=rows["little-hip-turn"]).exists()
        lines = queries.diagnosis_of(review.student, review).lines
        assert [line.finding.entry for line in lines][:2] == ["little-hip-turn", "steep-late-back"]
        assert {line.state for line in lines[2:]} == {"leave"}
        # What already stands behind another cause is not said twice.
        assert [c.entry for line in lines if line.finding == moved for c in line.causes] == [
            "steep-late-back"
        ]

    def test_own_words_and_kind(self):
        review = make_review()
        finding = suggested.accept_suggestion(
            review=review, by=review.coach, entry="steep-late-back", text="it is steep"
        )
        assert (finding.text, finding.value) == ("it is steep", 88.0)

    def test_a_dismissal_is_remembered_for_the_student(self):
        review = make_review()
        suggested.dismiss_suggestion(
            student=review.student, entry="steep-late-back", by=review.coach
        )
        later = make_review(student=review.student)
        assert "steep-late-back" not in ids(later)
        assert "steep-late-back" in ids(make_review())
        suggested.suggest_again(student=review.student, entry="steep-late-back", by=review.coach)
        assert "steep-late-back" in ids(later)

    def test_a_suggestion_that_does_not_stand_is_refused(self):
        review = make_review(figures={})
        refused(
            "gone", suggested.accept_suggestion,
            review=review, by=review.student.coach, entry="steep-late-back",
        )  # fmt: skip
        refused(
            "unknown",
            suggested.dismiss_suggestion,
            student=review.student,
            entry="x",
            by=review.coach,
        )

    def test_left_and_right_handers_get_the_same_plan_each_with_their_side(self):
        plans = []
        for hand in ("right", "left"):
            review = make_review(
                student=factories.make_student(handedness=hand),
                figures={("lead_elbow_deg", "top"): (70.0, 3.0), TURN: (20.0, 3.0)},
            )
            for entry in ids(review):
                suggested.accept_suggestion(review=review, by=review.coach, entry=entry)
            standing = queries.diagnosis_of(review.student, review)
            plans.append([(ln.finding.entry, ln.state, ln.finding.text) for ln in standing.lines])
        assert [row[:2] for row in plans[0]] == [row[:2] for row in plans[1]]
        assert "your left arm bends at the top" in plans[0][1]
        assert "your right arm bends at the top" in plans[1][1]

    def test_pain_hides_no_finding_and_hides_the_drill_that_loads_it(self):
        student = factories.make_student()
        library.load_starter_library(by=None, studio=student.studio)
        note = BodyNote.objects.create(student=student, region="hip", kind="painful")
        review = make_review(student=student)
        found = next(
            s for s in suggestions.suggestions_for(review) if s.entry.id == "little-hip-turn"
        )
        assert found.troubles == (note,)
        turn = suggested.accept_suggestion(review=review, by=review.coach, entry="little-hip-turn")
        assert refusals.drill_for(turn) is None
        note.delete()
        assert refusals.drill_for(turn).slug == "turn-with-a-club-on-the-hips"

    def test_repetitions_of_a_film_are_averaged(self):
        review = make_review(figures={})
        run = review.submissions.get().video.runs.get(kind="measure")
        for repetition, value in enumerate((20.0, 22.0, 24.0)):
            factories.make_measurement(run=run, reading=(value, 4.0), repetition=repetition)
        found = suggestions.suggestions_for(review)[0]
        assert found.value == 22.0
        assert found.uncertainty < 4.0

    def test_a_correction_by_hand_is_said(self):
        review = make_review(figures={})
        run = review.submissions.get().video.runs.get(kind="measure")
        row = factories.make_measurement(run=run, reading=(20.0, 4.0))
        assert not suggestions.suggestions_for(review)[0].is_corrected
        row.source = "corrected"
        row.save()
        assert suggestions.suggestions_for(review)[0].is_corrected

    def test_a_rehearsal_tells_no_tempo(self):
        rush = {("tempo_ratio", "impact"): (1.2, 0.1), ("backswing_s", "top"): (0.4, 0.03)}
        review = make_review(figures=rush)
        assert ids(review) == ["quick-from-the-top"]
        video = review.submissions.get().video
        video.kind = "rehearsal"
        video.save()
        assert suggestions.suggestions_for(review) == []

    def test_the_eye_stands_in_where_the_club_points_at_the_camera(self):
        down = ("shaft_pitch_deg", "lead_arm_down")
        review = make_review(figures={PITCH: "shaft_end_on", down: (66.0, 2.0)})
        # Another moment speaks, of what is seen there; late in the backswing is left to the eye.
        assert "steep-coming-down" in ids(review) and "steep-late-back" not in ids(review)
        asked = suggestions.offered(review).end_on
        assert [(row.measure, row.event) for row in asked] == [PITCH]
        judge = {"review": review, "by": review.coach, "measure": PITCH[0], "event": PITCH[1]}
        refused("unknown", suggested.judge_by_eye, **judge, entry="sway")
        suggested.judge_by_eye(**judge, entry="")
        assert suggestions.offered(review).end_on == []
        refused("unknown", suggested.judge_by_eye, **judge)

    def test_what_was_seen_by_eye_becomes_a_finding(self):
        review = make_review(figures={PITCH: "shaft_end_on"})
        suggested.judge_by_eye(
            review=review, by=review.coach, measure=PITCH[0], event=PITCH[1], entry="flat-late-back"
        )
        finding = review.findings.get()
        assert finding.entry == "flat-late-back" and finding.is_by_eye


class TestPicking:
    def test_an_entry_brings_its_words_kind_figure_and_links(self):
        review = make_review()
        effect = suggested.add_entry(review=review, by=review.coach, entry="early-extension")
        assert (effect.kind, effect.value) == ("compensation", 7.0)
        assert queries.diagnosis_of(review.student, review).lines[0].state == "unexplained"
        suggested.add_entry(review=review, by=review.coach, entry="little-hip-turn")
        line = queries.diagnosis_of(review.student, review).line(effect.pk)
        assert line.state == "leave" and [c.entry for c in line.causes] == ["little-hip-turn"]

    def test_a_cause_that_is_not_usual_is_linked_because_it_was_said(self):
        review = make_review(figures={})
        effect = suggested.add_entry(review=review, by=review.coach, entry="sway")
        cause = suggested.add_entry(
            review=review, by=review.coach, entry="grip-tight", effect=effect
        )
        assert cause.is_by_eye
        assert CausalLink.objects.filter(effect=effect, cause=cause).exists()

    def test_free_words_are_matched_or_kept_free(self):
        review = make_review(figures={})
        assert make_finding(review=review, text="Early extension").entry == "early-extension"
        free = make_finding(review=review, text="you smile too little")
        assert free.entry == "" and refusals.drill_for(free) is None
        assert make_finding(review=review, text="Early extension", entry="").entry == ""

    def test_an_unknown_entry_is_refused(self):
        review = make_review()
        refused("unknown", suggested.add_entry, review=review, by=review.coach, entry="x")


class TestTheBall:
    def test_what_the_student_chose_is_the_end_of_the_chain(self):
        student = factories.make_student(flight="right-right", strike="thin", handedness="right")
        review = make_review(student=student)
        thin, slice_ = suggested.add_usual_miss(review=review, by=review.coach)
        assert (thin.entry, thin.kind) == ("strike-thin", "ball")
        assert slice_.text == "the ball starts to the right and curves further to the right"
        suggested.add_entry(review=review, by=review.coach, entry="early-extension")
        standing = queries.diagnosis_of(student, review)
        assert [line.state for line in standing.ball] == ["shows", "shows"]
        assert [c.entry for c in standing.ball[0].causes] == ["early-extension"]
        refused("no_miss", suggested.add_usual_miss, review=review, by=review.coach)

    def test_a_left_handers_right_is_the_other_end(self):
        student = factories.make_student(flight="straight-right", handedness="left")
        review = make_review(student=student)
        assert [e.id for e in queries.usual_miss(review)] == ["ball-straight-lead"]
        suggested.add_usual_miss(review=review, by=review.coach)
        assert review.findings.get().text.endswith("curves to the right")

    def test_what_was_said_with_the_clip_counts_before_what_was_said_when_joining(self):
        student = factories.make_student(strike="fat", usual_miss="heavy")
        review = make_review(student=student)
        assert queries.ball_words(review) == "fat. “heavy”"
        review.submissions.update(strike="thin")
        review = Review.objects.get(pk=review.pk)
        assert [e.id for e in queries.usual_miss(review)] == ["strike-thin"]
        assert queries.ball_words(review) == "thin"


class TestPlanAndSentences:
    def build(self):
        review = make_review(figures={})
        shaft = make_finding(review=review, text="the shaft is too upright late in the backswing")
        up = make_finding(
            review=review, kind="compensation", text="you stand up through impact",
            because=[shaft],
        )  # fmt: skip
        tempo = make_finding(review=review, kind="strength", text="your tempo is even")
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
        planning.move_in_plan(by=review.student.coach, review=review, finding=up, earlier=True)
        lines = queries.diagnosis_of(review.student, review).lines
        assert [line.finding for line in lines] == [up, shaft]
        assert lines[0].state == "leave"
        planning.forget_order(by=review.student.coach, review=review)
        assert queries.diagnosis_of(review.student, review).lines[0].finding == shaft
        told = {"review": review, "finding": tempo, "earlier": True}
        refused("not_in_plan", planning.move_in_plan, by=review.student.coach, **told)

    def test_the_picture_names_states_in_words(self):
        review, shaft, up, tempo = self.build()
        picture = queries.diagnosis_of(review.student, review).picture
        notes = {node["id"]: (node["state"], node["note"]) for node in picture["nodes"]}
        assert notes[shaft.pk] == ("way", "work on this")
        assert notes[up.pk] == ("leave", "leave this for now")
        assert notes[tempo.pk] == ("keep", "keep this")
        assert picture["edges"] == [[shaft.pk, up.pk]]

    def test_what_needs_a_ball_comes_later_for_somebody_without(self):
        student = factories.make_student(practice_place="none")
        review = make_review(student=student, figures={})
        strike = make_finding(
            review=review, kind="cause", entry="strike-thin", text="you strike it thin"
        )
        knees = make_finding(review=review, text="your knees are straight")
        lines = queries.diagnosis_of(student, review).lines
        assert [line.finding for line in lines] == [knees, strike]


class TestTheBody:
    def asked(self):
        review = make_review(figures={})
        question = make_finding(review=review, kind="question", text="your hips tilt")
        turn = make_finding(review=review, because=[question])
        other = make_finding(review=review, text="your knees are straight")
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
        questions.answer_question(finding=question, by=user, text="It  pinches a little")
        entry = Entry.objects.get(kind=Entry.Kind.BODY_NOTED)
        assert (entry.text, entry.refs) == ("It pinches a little", {"finding": question.pk})
        refused("answered", questions.answer_question, finding=question, by=user, text="again")
        lines = queries.diagnosis_of(question.student).lines
        assert {ln.finding.pk: ln.state for ln in lines}[turn.pk] == "work"

    def test_an_empty_answer_is_refused(self):
        question, *_ = self.asked()
        refused(
            "no_words",
            questions.answer_question,
            finding=question,
            by=question.student.user,
            text="  ",
        )

    def test_a_limit_shapes_the_plan(self):
        question, turn, _ = self.asked()
        note = BodyNote.objects.create(student=question.student, region="hip", kind="stiff")
        questions.accept_limit(finding=question, by=question.student.coach, body_note=note)
        note.refresh_from_db()
        assert note.accepted_as_limit_at is not None
        states = {ln.finding.pk: ln.state for ln in queries.diagnosis_of(question.student).lines}
        assert (states[question.pk], states[turn.pk]) == ("limit", "work")
        refused("kind", questions.accept_limit, finding=turn, by=turn.student.coach)

    def test_another_students_note_is_refused(self):
        question, *_ = self.asked()
        note = BodyNote.objects.create(student=factories.make_student(), region="hip", kind="stiff")
        refused(
            "wrong_student",
            questions.accept_limit,
            finding=question,
            by=question.student.coach,
            body_note=note,
        )

    def test_settling_waits_for_the_answer(self):
        question, *_ = self.asked()
        refused(
            "unanswered", questions.resolve_question, finding=question, by=question.student.coach
        )
        questions.answer_question(finding=question, by=question.student.user, text="no trouble")
        assert questions.resolve_question(finding=question, by=question.student.coach).closed_at


class TestClosing:
    def test_closing_a_cause_frees_what_rested_on_nothing_else(self):
        review = make_review(figures={})
        one, two = make_finding(review=review), make_finding(review=review, text="the shaft is up")
        both = make_finding(
            review=review, kind="compensation", text="you stand up", because=[one, two]
        )
        publish_review(review=review, by=review.coach)
        one.refresh_from_db()
        assert outcomes.close_finding(finding=one) == []
        two.refresh_from_db()
        assert outcomes.close_finding(finding=two) == [both]
        both.refresh_from_db()
        assert both.look_again_at <= timezone.now()
        assert outcomes.close_finding(finding=two) == []  # a second time changes nothing

    @pytest.mark.parametrize("still_there", [True, False])
    def test_a_new_look(self, still_there):
        finding = make_finding(kind="compensation", text="you stand up")
        refused(
            "not_due",
            outcomes.look_again,
            finding=finding,
            by=finding.student.coach,
            still_there=True,
        )
        finding.look_again_at = timezone.now()
        finding.save()
        outcomes.look_again(finding=finding, by=finding.student.coach, still_there=still_there)
        finding.refresh_from_db()
        assert (finding.kind == "cause", finding.closed_at is None) == (still_there, still_there)
