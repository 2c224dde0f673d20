"""Assigning, judging and the stop rule on a real database."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from coaching.diagnosis import suggestions
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings, suggested
from coaching.intake.services import asking
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, Student
from coaching.practice import drills
from coaching.practice.models import Assignment, Attempt, Drill, PainReport, Step, Verdict
from coaching.practice.queries import judged, ladders, pain
from coaching.practice.services import assigning, judging, library, refusals, stopping
from coaching.review.services import sending
from tests import factories
from tests.coaching.practice.making import (
    TURN_RUNG,
    library_drill,
    make_assignment,
    make_drill,
    make_finding,
    make_review,
    open_attempt,
    send_film,
)

pytestmark = pytest.mark.django_db
SELF_TEST = {"comparison": "self_test", "question": "Did it feel easy?"}


def refused(code: str, call, **arguments):
    with pytest.raises(LessonError) as told:
        call(**arguments)
    assert told.value.code == code, told.value.sentence
    return told.value


def judge(attempt, decision, **options):
    coach = attempt.step.assignment.student.coach
    return judging.judge_attempt(attempt=attempt, by=coach, decision=decision, **options)


def climb(assignment: Assignment) -> None:
    """Pass every step that is left, a day apart."""
    while attempt := Attempt.objects.filter(step__assignment=assignment, verdict=None).last():
        clip = send_film(attempt, (60, 3), (60, 3), (60, 3))
        clip.created_at = timezone.now() + timedelta(days=Verdict.objects.count())
        clip.save()
        judge(attempt, "passed")


class TestTheLibrary:
    def test_the_starter_library(self):
        studio = factories.make_studio()
        counts = library.load_starter_library(by=None, studio=studio)
        assert counts["made"] >= 24
        assert library.load_starter_library(by=None, studio=studio) == {
            "made": 0,
            "changed": 0,
            "same": counts["made"],
        }

    def test_a_version_that_was_used_never_changes(self):
        version = make_drill()
        row = drills.row_of("a-drill", "", version)
        student = factories.make_student(studio=version.drill.studio, coach=None)
        same, what = library.save_drill(by=None, studio=version.drill.studio, row=row)
        assert (same, what) == (version, "same")
        better, what = library.save_drill(
            by=None, studio=version.drill.studio, row=row | {"purpose": "To turn more."}
        )
        assert (better.pk, what) == (version.pk, "changed")  # nobody has it yet
        make_assignment(review=make_review(student=student), drill=better)
        newer, _ = library.save_drill(
            by=None, studio=version.drill.studio, row=row | {"purpose": "To turn well."}
        )
        better.refresh_from_db()
        assert (newer.number, better.purpose) == (2, "To turn more.")

    def test_a_file_is_taken_whole_or_not_at_all(self):
        studio = factories.make_studio()
        text = drills.as_json([make_drill().drill]).replace('"need": 3', '"need": 4', 1)
        told = refused("ladder", library.import_drills, by=None, studio=studio, text=text)
        assert "a-drill, step 1" in told.sentence
        assert not Drill.objects.filter(studio=studio).exists()

    def test_out_and_in_again_is_the_same(self):
        drill = make_drill().drill
        other = factories.make_studio()
        assert library.import_drills(by=None, studio=other, text=drills.as_json([drill])) == {
            "made": 1,
            "changed": 0,
            "same": 0,
        }
        assert drills.as_json([library_drill(other, "a-drill")]) == drills.as_json([drill])


class TestAssigning:
    def test_a_drill_is_a_draft_until_the_answer_is_sent(self):
        assignment = make_assignment(opened=False)
        assert assignment.opened_at is None
        assert not Attempt.objects.exists()
        assert not Entry.objects.filter(kind=Entry.Kind.ASSIGNED).exists()
        sending.publish_review(review=assignment.review, by=assignment.student.coach)
        assignment.refresh_from_db()
        assert assignment.opened_at is not None
        attempt = Attempt.objects.get()
        assert (attempt.angle.view, attempt.angle.repetitions) == ("down_the_line", 3)
        entry = Entry.objects.get(kind=Entry.Kind.ASSIGNED)
        assert entry.refs == {
            "assignment": assignment.pk,
            "request": attempt.angle.request_id,
        }
        assert not Entry.objects.filter(kind=Entry.Kind.REQUESTED).exists()

    def test_the_baseline_is_kept_with_the_target(self):
        criterion = make_assignment().steps.first().criteria.get()
        assert (criterion.baseline, criterion.baseline_uncertainty) == (24.0, 4.0)

    def test_a_change_needs_something_to_change_from(self):
        change = {
            "comparison": "changed_by",
            "measure": "pelvis_turn_deg",
            "event": "top",
            "change": 10,
        }
        steps = [TURN_RUNG | {"criteria": [change]}]
        review = make_review(figures={})
        version = make_drill(studio=review.student.studio)
        with pytest.raises(LessonError, match="measured yet"), transaction.atomic():
            assigning.assign_drill(review=review, by=review.coach, drill=version, steps=steps)
        assert not Assignment.objects.exists()
        assert make_assignment(steps=steps).steps.get().criteria.get().baseline == 24.0

    @pytest.mark.parametrize(
        ("wrong", "code"),
        [
            ({"need": 4}, "ladder"),
            ({"view": "rear"}, "ladder"),
            ({"repetitions": 11}, "schema"),
            ({"criteria": []}, "schema"),
            ({"effort": "violent"}, "schema"),
        ],
    )
    def test_a_ladder_no_camera_can_judge_is_refused(self, wrong, code):
        review = make_review()
        version = make_drill(studio=review.student.studio)
        refused(
            code, assigning.assign_drill,
            review=review, by=review.student.coach, drill=version, steps=[TURN_RUNG | wrong],
        )  # fmt: skip

    def test_other_refusals(self):
        review = make_review()
        assign = {"review": review, "by": review.coach}
        version = make_drill(studio=review.student.studio)
        refused("wrong_studio", assigning.assign_drill, **assign, drill=make_drill())
        refused("per_day", assigning.assign_drill, **assign, drill=version, per_day=200)
        dates = {"starts_on": date(2026, 3, 2), "due_on": date(2026, 3, 1)}
        refused("dates", assigning.assign_drill, **assign, drill=version, **dates)
        for text in ("one", "two", "three"):
            assigning.assign_drill(**assign, drill=version, text=text)
        refused("too_many", assigning.assign_drill, **assign, drill=version)
        sending.publish_review(review=review, by=review.coach)
        refused("published", assigning.assign_drill, **assign, drill=version)
        assignment = review.assignments.first()
        refused(
            "published",
            assigning.remove_assignment,
            assignment=assignment,
            by=assignment.student.coach,
        )

    def test_an_answer_is_sent_once(self):
        assignment = make_assignment()
        told = refused(
            "published",
            sending.publish_review,
            review=assignment.review,
            by=assignment.review.student.coach,
        )
        assert told.status == 409
        assert Attempt.objects.count() == 1


class TestTheWrongPrescription:
    """Taken away first, the player gets worse: the cause comes first."""

    def upright(self):
        student = factories.make_student()
        library.load_starter_library(by=None, studio=student.studio)
        review = make_review(student=student)
        for found in suggestions.suggestions_for(review):
            suggested.accept_suggestion(review=review, by=review.coach, entry=found.entry.id)
        rows = {f.entry: f for f in review.findings.all()}
        return review, rows

    def test_it_is_refused_naming_the_cause_and_its_drill(self):
        review, rows = self.upright()
        told = refused(
            "cause_open", assigning.assign_drill,
            review=review, by=review.coach,
            drill=library_drill(review.student.studio, "seat-on-the-wall"),
            finding=rows["early-extension"],
        )  # fmt: skip
        cause = Finding.objects.get(pk=told.extra["cause"])
        drill = Drill.objects.get(pk=told.extra["drill"])
        assert cause.kind == "cause" and cause.text in told.sentence
        assert refusals.drill_for(cause) == drill
        assert drills.newest(drill).title in told.sentence

    def test_a_reason_lets_it_through_and_is_kept(self):
        review, rows = self.upright()
        assignment = assigning.assign_drill(
            review=review,
            by=review.coach,
            drill=library_drill(review.student.studio, "seat-on-the-wall"),
            finding=rows["early-extension"],
            override_reason="  back doctor's wish ",
        )
        assert assignment.override_reason == "back doctor's wish"
        sending.publish_review(review=review, by=review.coach)

    def test_the_causes_drill_is_taken(self):
        review, rows = self.upright()
        for rule in ("little-hip-turn", "steep-late-back"):
            drill = refusals.drill_for(rows[rule])
            assigning.assign_drill(
                review=review, by=review.student.coach, drill=drill, finding=rows[rule]
            )
        assert review.assignments.count() == 2

    def test_a_link_added_later_is_caught_before_sending(self):
        review = make_review()
        up = make_finding(review=review, text="you stand up")
        make_assignment(review=review, finding=up, opened=False)
        findings.edit_finding(finding=up, by=review.coach, kind="compensation")
        findings.link(by=up.student.coach, effect=up, cause=make_finding(review=review))
        refused("cause_open", sending.publish_review, review=review, by=review.coach)
        review.refresh_from_db()
        assert review.published_at is None
        assert not Attempt.objects.exists()

    def test_a_question_comes_before_the_prescription(self):
        review = make_review()
        question = make_finding(review=review, kind="question", text="your hips tilt")
        turn = make_finding(review=review, because=[question])
        version = make_drill(studio=review.student.studio)
        refused(
            "question_open", assigning.assign_drill,
            review=review, by=review.student.coach, drill=version, finding=turn,
        )  # fmt: skip

    @pytest.mark.parametrize("kind", ["harmless", "strength"])
    def test_what_needs_no_treatment_gets_none(self, kind):
        review = make_review()
        finding = make_finding(review=review, kind=kind)
        version = make_drill(studio=review.student.studio)
        refused(
            "no_target", assigning.assign_drill,
            review=review, by=review.student.coach, drill=version, finding=finding,
        )  # fmt: skip

    def test_what_hurts_is_not_loaded(self):
        review = make_review()
        version = make_drill(studio=review.student.studio)
        note = BodyNote.objects.create(
            student=review.student, region="hip", kind="painful", text="pinches"
        )
        told = refused(
            "hurts", assigning.assign_drill, review=review, by=review.student.coach, drill=version
        )
        assert "pinches" in told.sentence
        assigning.assign_drill(
            review=review, by=review.student.coach, drill=version, override_reason="the note is old"
        )
        note.delete()
        stopping.report_pain(student=review.student, by=review.student.user, region="hip")
        refused(
            "hurts", assigning.assign_drill,
            review=review, by=review.student.coach, drill=version, override_reason="never mind",
        )  # fmt: skip
        refused("hurts", sending.publish_review, review=review, by=review.coach)

    def test_a_limit_is_named_in_the_caution(self):
        student = factories.make_student()
        BodyNote.objects.create(
            student=student, region="hip", kind="stiff", text="turns half way",
            accepted_as_limit_at=timezone.now(),
        )  # fmt: skip
        caution = make_assignment(review=make_review(student=student)).caution
        assert caution == ("Stop if it hurts.\nOnly as far as your hip lets you: turns half way.")


class TestVerdicts:
    def test_three_repetitions_pass_and_the_next_step_opens(self):
        assignment = make_assignment()
        attempt = open_attempt(assignment)
        clip = send_film(attempt, (52, 4), (50, 4), (55, 4))
        result = judged.judged([clip])[clip.pk]
        assert (result.suggestion.says, result.suggestion.counted) == ("passes", 3)
        verdict = judge(attempt, "passed")
        assert (verdict.submission, verdict.suggested) == (clip, "passes")
        clip.refresh_from_db()
        assert clip.answered_at is not None
        first, second = assignment.steps.all()
        assert first.passed_at is not None and second.passed_at is None
        assert open_attempt(assignment).step == second
        attempt.angle.request.refresh_from_db()
        assert attempt.angle.request.closed_at is not None
        entry = Entry.objects.get(kind=Entry.Kind.JUDGED)
        assert entry.refs["request"] == open_attempt(assignment).angle.request_id

    def test_the_last_step_closes_the_cause_and_calls_for_a_new_look(self):
        review = make_review()
        cause = make_finding(review=review)
        up = make_finding(review=review, kind="compensation", text="you stand up", because=[cause])
        assignment = make_assignment(review=review, finding=cause)
        climb(assignment)
        assignment.refresh_from_db()
        cause.refresh_from_db()
        assert assignment.closed_at and cause.closed_at
        students = Student.objects.filter(pk=review.student_id)
        assert list(ladders.due_for_new_look(students)) == [up]
        assert assignment.check_due_on == timezone.localdate() + timedelta(days=14)
        last = Entry.objects.filter(kind=Entry.Kind.JUDGED).last()
        assert last.refs["look_again"] == [up.pk]

    def test_two_ladders_for_one_cause_close_it_together(self):
        review = make_review()
        cause = make_finding(review=review)
        version = make_drill(studio=review.student.studio)
        one = make_assignment(review=review, finding=cause, drill=version, opened=False)
        two = make_assignment(review=review, finding=cause, drill=version, text="and again")
        climb(one)
        cause.refresh_from_db()
        assert cause.closed_at is None
        climb(two)
        cause.refresh_from_db()
        assert cause.closed_at is not None

    def test_a_step_may_want_passes_on_two_days(self):
        assignment = make_assignment(steps=[TURN_RUNG | {"days": 2}])
        first = open_attempt(assignment)
        send_film(first, (52, 4), (50, 4), (55, 4))
        judge(first, "passed")
        again = open_attempt(assignment)
        assert again.step == first.step
        clip = send_film(again, (52, 4), (50, 4), (55, 4))
        judge(again, "passed")  # the same day: not yet two
        assert Step.objects.get().passed_at is None
        third = open_attempt(assignment)
        clip = send_film(third, (52, 4), (50, 4), (55, 4))
        clip.created_at = timezone.now() + timedelta(days=1)
        clip.save()
        judge(third, "passed")
        assert Step.objects.get().passed_at is not None

    def test_nearly_needs_one_cue_and_keeps_the_step(self):
        assignment = make_assignment()
        attempt = open_attempt(assignment)
        send_film(attempt, (36, 4), (37, 4), (35, 4))
        refused("no_cue", judge, attempt=attempt, decision="nearly")
        verdict = judge(attempt, "nearly", cue="Pocket  further back")
        assert verdict.cue == "Pocket further back"
        assert open_attempt(assignment).step == attempt.step

    def test_not_yet_and_a_step_back(self):
        assignment = make_assignment()
        first = open_attempt(assignment)
        send_film(first, (52, 4), (50, 4), (55, 4))
        refused("first_step", judge, attempt=first, decision="step_back")
        judge(first, "passed")
        second = open_attempt(assignment)
        send_film(second, (20, 4), (21, 4), (22, 4))
        judge(second, "not_yet")
        third = open_attempt(assignment)
        assert third.step == second.step
        send_film(third, (20, 4), (21, 4), (22, 4))
        judge(third, "step_back")
        back = open_attempt(assignment)
        assert back.step == first.step
        assert back.step.passed_at is None
        send_film(back, (52, 4), (50, 4), (55, 4))
        judge(back, "passed")
        assert open_attempt(assignment).step == second.step

    def test_stop_ends_the_drill_and_closes_no_cause(self):
        review = make_review()
        cause = make_finding(review=review)
        assignment = make_assignment(review=review, finding=cause)
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 4))
        judge(attempt, "stop")
        assignment.refresh_from_db()
        cause.refresh_from_db()
        assert assignment.closed_at is not None and cause.closed_at is None
        assert not Attempt.objects.filter(verdict=None).exists()
        assert assignment.check_due_on is None

    def test_only_one_verdict(self):
        attempt = open_attempt(make_assignment())
        refused("no_clip", judge, attempt=attempt, decision="passed")
        clip = send_film(attempt, (52, 4), (50, 4), (55, 4))
        refused("unknown", judge, attempt=attempt, decision="splendid")
        other = factories.make_submission()
        refused("no_clip", judge, attempt=attempt, decision="passed", submission=other)
        judge(attempt, "passed", submission=clip)
        told = refused("judged", judge, attempt=attempt, decision="not_yet")
        assert told.status == 409
        assert Verdict.objects.get().decision == "passed"

    def test_the_newest_clip_stands(self):
        attempt = open_attempt(make_assignment())
        first = send_film(attempt, (20, 4), (21, 4), (22, 4))
        second = send_film(attempt, (52, 4), (50, 4), (55, 4))
        first.replaced_by = second
        first.save()
        assert judge(attempt, "passed").submission == second

    def test_a_check_film_two_weeks_later(self):
        assignment = make_assignment()
        refused(
            "not_climbed",
            judging.ask_check_film,
            assignment=assignment,
            by=assignment.student.coach,
        )
        climb(assignment)
        assignment.refresh_from_db()
        students = Student.objects.filter(pk=assignment.student_id)
        assert list(ladders.checks_due(students)) == []
        Assignment.objects.update(check_due_on=timezone.localdate())
        assignment.refresh_from_db()
        assert list(ladders.checks_due(students)) == [assignment]
        request = judging.ask_check_film(assignment=assignment, by=assignment.student.coach)
        assert request.angles.get().effort == "full"
        assert list(ladders.checks_due(students)) == []
        refused("asked", judging.ask_check_film, assignment=assignment, by=assignment.student.coach)


class TestTheStudentsOwnWords:
    def test_a_self_test_answer(self):
        assignment = make_assignment(steps=[TURN_RUNG | {"criteria": [SELF_TEST]}])
        attempt = open_attempt(assignment)
        clip = send_film(attempt)
        criterion = attempt.step.criteria.get()
        tell = {"submission": clip, "criterion": criterion, "by": assignment.student.user}
        assert judged.judged([clip])[clip.pk].suggestion.why == "unanswered"
        judging.record_self_answer(**tell, yes=False)
        assert judged.judged([clip])[clip.pk].suggestion.says == "does_not"
        judging.record_self_answer(**tell, yes=True, text="easy")
        assert judged.judged([clip])[clip.pk].suggestion.says == "passes"
        assert clip.self_answers.get().text == "easy"
        judge(attempt, "passed")
        refused("judged", judging.record_self_answer, **tell, yes=False)

    def test_an_answer_to_something_else_is_refused(self):
        attempt = open_attempt(make_assignment())
        clip = send_film(attempt)
        refused(
            "not_asked", judging.record_self_answer,
            submission=clip, criterion=attempt.step.criteria.get(), by=clip.student.user, yes=True,
        )  # fmt: skip

    def test_the_feel_is_told_once(self):
        attempt = open_attempt(make_assignment())
        student = attempt.step.assignment.student
        assert judging.record_feel(attempt=attempt, by=student.user, count=2)
        assert not judging.record_feel(attempt=attempt, by=student.user, count=3)
        attempt.refresh_from_db()
        assert attempt.felt == 2
        refused("count", judging.record_feel, attempt=attempt, by=student.user, count=4)


class TestPain:
    def running(self, loads=("hip",), **fields):
        review = make_review(**fields)
        version = make_drill(
            studio=review.student.studio, slug="-".join(loads) or "none", loads=list(loads)
        )
        return make_assignment(review=review, drill=version)

    def test_one_tap_stops_what_loads_the_region(self):
        hip = self.running()
        wrist = self.running(("wrist",), student=hip.student)
        report = stopping.report_pain(student=hip.student, by=hip.student.user, region="hip")
        hip.refresh_from_db()
        wrist.refresh_from_db()
        assert hip.stopped_at is not None and wrist.stopped_at is None
        assert open_attempt(hip).angle.request.suspended_at is not None
        assert open_attempt(wrist).angle.request.suspended_at is None
        entry = Entry.objects.get(kind=Entry.Kind.PAIN)
        assert entry.refs == {"pain_report": report.pk, "assignments": [hip.pk]}

    def test_the_drill_it_was_said_from_stops_whatever_it_loads(self):
        wrist = self.running(("wrist",))
        stopping.report_pain(
            student=wrist.student, by=wrist.student.user, region="knee", assignment=wrist
        )
        wrist.refresh_from_db()
        assert wrist.stopped_at is not None

    def test_pain_somewhere_else_stops_everything(self):
        wrist = self.running(("wrist",))
        stopping.report_pain(student=wrist.student, by=wrist.student.user, region="other")
        wrist.refresh_from_db()
        assert wrist.stopped_at is not None

    def test_a_hard_swing_loads_everything(self):
        assignment = self.running(("wrist",))
        send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
        judge(open_attempt(assignment), "passed")
        assert open_attempt(assignment).step.effort == "full"
        stopping.report_pain(student=assignment.student, by=assignment.student.user, region="knee")
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None

    def test_a_step_that_opens_while_something_hurts_is_stopped(self):
        assignment = self.running(("wrist",))
        stopping.report_pain(student=assignment.student, by=assignment.student.user, region="knee")
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        judge(attempt, "passed")  # the next one swings hard
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None
        assert open_attempt(assignment).angle.request.suspended_at is not None

    def test_requests_to_swing_stop_and_to_stand_do_not(self):
        student = factories.make_student()
        ask = {"student": student, "by": student.coach}
        swing = asking.request_angles(**ask, angles=[{"view": "face_on", "kind": "swing"}])
        stand = asking.request_angles(**ask, angles=[{"view": "face_on", "kind": "setup"}])
        both = asking.request_angles(
            **ask,
            angles=[{"view": "face_on", "kind": "setup"}, {"view": "face_on", "kind": "swing"}],
        )
        stopping.report_pain(student=student, by=student.user, region="back")
        for request in (swing, stand, both):
            request.refresh_from_db()
        assert swing.suspended_at and both.suspended_at and not stand.suspended_at

    def test_a_report_sent_twice_is_one(self):
        student = factories.make_student()
        tell = {"student": student, "by": student.user, "region": "hip", "text": "sharp"}
        assert stopping.report_pain(**tell) == stopping.report_pain(**tell)
        assert PainReport.objects.count() == 1
        stopping.report_pain(**tell | {"urgent": True})
        assert PainReport.objects.count() == 2

    def test_refusals(self):
        student = factories.make_student()
        tell = {"student": student, "by": student.user}
        refused("region", stopping.report_pain, **tell, region="soul")
        other = self.running()
        refused("wrong_student", stopping.report_pain, **tell, region="hip", assignment=other)

    def test_no_verdict_goes_past_a_stop(self):
        assignment = self.running()
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        stopping.report_pain(student=assignment.student, by=assignment.student.user, region="hip")
        attempt = Attempt.objects.get(pk=attempt.pk)
        refused("stopped", judge, attempt=attempt, decision="passed")
        judge(attempt, "stop")

    def test_reopening_needs_the_students_statement_and_the_coach(self):
        assignment = self.running()
        student = assignment.student
        report = stopping.report_pain(student=student, by=student.user, region="hip")
        refused("no_statement", stopping.reopen_after_pain, report=report, by=student.coach)
        refused(
            "no_words", stopping.state_professional_agreed,
            report=report, by=student.user, text=" ",
        )  # fmt: skip
        stopping.state_professional_agreed(
            report=report, by=student.user, text="My physio agreed on Monday"
        )
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None  # a statement opens nothing by itself
        stopping.reopen_after_pain(report=report, by=student.coach)
        assignment.refresh_from_db()
        assert assignment.stopped_at is None
        assert open_attempt(assignment).angle.request.suspended_at is None
        assert Entry.objects.filter(kind=Entry.Kind.REOPENED).count() == 1
        refused("reopened", stopping.reopen_after_pain, report=report, by=student.coach)
        refused(
            "reopened", stopping.state_professional_agreed,
            report=report, by=student.user, text="again",
        )  # fmt: skip

    def test_a_second_report_keeps_it_stopped(self):
        assignment = self.running(("hip", "back"))
        student = assignment.student
        hip = stopping.report_pain(student=student, by=student.user, region="hip")
        stopping.report_pain(student=student, by=student.user, region="back")
        stopping.state_professional_agreed(report=hip, by=student.user, text="agreed")
        stopping.reopen_after_pain(report=hip, by=student.coach)
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None
        students = Student.objects.filter(pk=student.pk)
        assert [r.region for r in pain.open_pain(students)] == ["back"]

    def test_seen_is_kept_once(self):
        student = factories.make_student()
        report = stopping.report_pain(student=student, by=student.user, region="hip")
        stopping.mark_pain_seen(report=report, by=student.coach)
        report.refresh_from_db()
        first = report.seen_at
        stopping.mark_pain_seen(report=report, by=student.coach)
        report.refresh_from_db()
        assert report.seen_at == first
