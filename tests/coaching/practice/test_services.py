"""Assigning, judging and the stop rule on a real database."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from coaching.diagnosis import queries as diagnosis
from coaching.diagnosis import services as findings
from coaching.diagnosis.models import Finding
from coaching.intake import services as intake
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, Student
from coaching.practice import drills, queries, services
from coaching.practice.models import Assignment, Attempt, Drill, PainReport, Rung, Verdict
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
    coach = attempt.rung.assignment.student.coach
    return services.judge_attempt(attempt=attempt, by=coach, decision=decision, **options)


def climb(assignment: Assignment) -> None:
    """Pass every rung that is left, a day apart."""
    while attempt := Attempt.objects.filter(rung__assignment=assignment, verdict=None).last():
        clip = send_film(attempt, (60, 3), (60, 3), (60, 3))
        clip.created_at = timezone.now() + timedelta(days=Verdict.objects.count())
        clip.save()
        judge(attempt, "passed")


class TestTheLibrary:
    def test_the_starter_library(self):
        studio = factories.make_studio()
        counts = services.load_starter_library(studio=studio)
        assert counts["made"] >= 24
        assert services.load_starter_library(studio=studio) == {
            "made": 0,
            "changed": 0,
            "same": counts["made"],
        }

    def test_a_version_that_was_used_never_changes(self):
        version = make_drill()
        row = drills.row_of("a-drill", "", version)
        student = factories.make_student(studio=version.drill.studio, coach=None)
        same, what = services.save_drill(studio=version.drill.studio, row=row)
        assert (same, what) == (version, "same")
        better, what = services.save_drill(
            studio=version.drill.studio, row=row | {"purpose": "To turn more."}
        )
        assert (better.pk, what) == (version.pk, "changed")  # nobody has it yet
        make_assignment(review=make_review(student=student), drill=better)
        newer, _ = services.save_drill(
            studio=version.drill.studio, row=row | {"purpose": "To turn well."}
        )
        better.refresh_from_db()
        assert (newer.number, better.purpose) == (2, "To turn more.")

    def test_a_file_is_taken_whole_or_not_at_all(self):
        studio = factories.make_studio()
        text = drills.as_json([make_drill().drill]).replace('"need": 3', '"need": 4', 1)
        told = refused("ladder", services.import_drills, studio=studio, text=text)
        assert "a-drill, step 1" in told.sentence
        assert not Drill.objects.filter(studio=studio).exists()

    def test_out_and_in_again_is_the_same(self):
        drill = make_drill().drill
        other = factories.make_studio()
        assert services.import_drills(studio=other, text=drills.as_json([drill])) == {
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
        services.publish_lesson(review=assignment.review, by=assignment.student.coach)
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
        criterion = make_assignment().rungs.first().criteria.get()
        assert (criterion.baseline, criterion.baseline_uncertainty) == (24.0, 4.0)

    def test_a_change_needs_something_to_change_from(self):
        change = {
            "comparison": "changed_by",
            "measure": "pelvis_turn_deg",
            "event": "top",
            "change": 10,
        }
        rungs = [TURN_RUNG | {"criteria": [change]}]
        review = make_review(figures={})
        version = make_drill(studio=review.student.studio)
        with pytest.raises(LessonError, match="measured yet"), transaction.atomic():
            services.assign_drill(review=review, by=review.coach, drill=version, rungs=rungs)
        assert not Assignment.objects.exists()
        assert make_assignment(rungs=rungs).rungs.get().criteria.get().baseline == 24.0

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
            code, services.assign_drill,
            review=review, by=None, drill=version, rungs=[TURN_RUNG | wrong],
        )  # fmt: skip

    def test_other_refusals(self):
        review = make_review()
        assign = {"review": review, "by": review.coach}
        version = make_drill(studio=review.student.studio)
        refused("wrong_studio", services.assign_drill, **assign, drill=make_drill())
        refused("per_day", services.assign_drill, **assign, drill=version, per_day=200)
        dates = {"starts_on": date(2026, 3, 2), "due_on": date(2026, 3, 1)}
        refused("dates", services.assign_drill, **assign, drill=version, **dates)
        for _ in range(3):
            services.assign_drill(**assign, drill=version)
        refused("too_many", services.assign_drill, **assign, drill=version)
        services.publish_lesson(review=review, by=review.coach)
        refused("published", services.assign_drill, **assign, drill=version)
        assignment = review.assignments.first()
        refused("published", services.remove_assignment, assignment=assignment)

    def test_an_answer_is_sent_once(self):
        assignment = make_assignment()
        told = refused("published", services.publish_lesson, review=assignment.review, by=None)
        assert told.status == 409
        assert Attempt.objects.count() == 1


class TestTheWrongPrescription:
    """Taken away first, the player gets worse: the cause comes first."""

    def upright(self):
        student = factories.make_student()
        services.load_starter_library(studio=student.studio)
        review = make_review(student=student)
        for found in diagnosis.suggestions_for(review):
            findings.accept_suggestion(review=review, by=review.coach, rule=found.rule.id)
        rows = {f.rule: f for f in review.findings.all()}
        return review, rows

    def test_it_is_refused_naming_the_cause_and_its_drill(self):
        review, rows = self.upright()
        told = refused(
            "cause_open", services.assign_drill,
            review=review, by=review.coach,
            drill=library_drill(review.student.studio, "seat-on-the-wall"),
            finding=rows["toward-the-ball-after-upright-shaft"],
        )  # fmt: skip
        cause = Finding.objects.get(pk=told.extra["cause"])
        drill = Drill.objects.get(pk=told.extra["drill"])
        assert cause.kind == "cause" and cause.words in told.sentence
        assert services.drill_for(cause) == drill
        assert drills.newest(drill).title in told.sentence

    def test_a_reason_lets_it_through_and_is_kept(self):
        review, rows = self.upright()
        assignment = services.assign_drill(
            review=review,
            by=review.coach,
            drill=library_drill(review.student.studio, "seat-on-the-wall"),
            finding=rows["toward-the-ball-after-upright-shaft"],
            override_reason="  back doctor's wish ",
        )
        assert assignment.override_reason == "back doctor's wish"
        services.publish_lesson(review=review, by=review.coach)

    def test_the_causes_drill_is_taken(self):
        review, rows = self.upright()
        for rule in ("little-pelvis-turn", "shaft-upright-late"):
            drill = services.drill_for(rows[rule])
            services.assign_drill(review=review, by=None, drill=drill, finding=rows[rule])
        assert review.assignments.count() == 2

    def test_a_link_added_later_is_caught_before_sending(self):
        review = make_review()
        up = make_finding(review=review, kind="compensation", words="you stand up")
        make_assignment(review=review, finding=up, opened=False)
        findings.link(effect=up, cause=make_finding(review=review))
        refused("cause_open", services.publish_lesson, review=review, by=review.coach)
        review.refresh_from_db()
        assert review.published_at is None
        assert not Attempt.objects.exists()

    def test_a_question_comes_before_the_prescription(self):
        review = make_review()
        question = make_finding(review=review, kind="question", words="your hips tilt")
        turn = make_finding(review=review, because=[question])
        version = make_drill(studio=review.student.studio)
        refused(
            "question_open", services.assign_drill,
            review=review, by=None, drill=version, finding=turn,
        )  # fmt: skip

    @pytest.mark.parametrize("kind", ["harmless", "strength"])
    def test_what_needs_no_treatment_gets_none(self, kind):
        review = make_review()
        finding = make_finding(review=review, kind=kind)
        version = make_drill(studio=review.student.studio)
        refused(
            "no_target", services.assign_drill,
            review=review, by=None, drill=version, finding=finding,
        )  # fmt: skip

    def test_what_hurts_is_not_loaded(self):
        review = make_review()
        version = make_drill(studio=review.student.studio)
        note = BodyNote.objects.create(
            student=review.student, region="hip", kind="painful", words="pinches"
        )
        told = refused("hurts", services.assign_drill, review=review, by=None, drill=version)
        assert "pinches" in told.sentence
        services.assign_drill(
            review=review, by=None, drill=version, override_reason="the note is old"
        )
        note.delete()
        services.report_pain(student=review.student, by=review.student.user, region="hip")
        refused(
            "hurts", services.assign_drill,
            review=review, by=None, drill=version, override_reason="never mind",
        )  # fmt: skip
        refused("hurts", services.publish_lesson, review=review, by=review.coach)

    def test_a_limit_is_named_in_the_caution(self):
        student = factories.make_student()
        BodyNote.objects.create(
            student=student, region="hip", kind="stiff", words="turns half way",
            accepted_as_limit_at=timezone.now(),
        )  # fmt: skip
        caution = make_assignment(review=make_review(student=student)).caution
        assert caution == ("Stop if it hurts.\nOnly as far as your hip lets you: turns half way.")


class TestVerdicts:
    def test_three_repetitions_pass_and_the_next_rung_opens(self):
        assignment = make_assignment()
        attempt = open_attempt(assignment)
        clip = send_film(attempt, (52, 4), (50, 4), (55, 4))
        result = queries.judged([clip])[clip.pk]
        assert (result.suggestion.says, result.suggestion.counted) == ("passes", 3)
        verdict = judge(attempt, "passed")
        assert (verdict.submission, verdict.suggested) == (clip, "passes")
        clip.refresh_from_db()
        assert clip.answered_at is not None
        first, second = assignment.rungs.all()
        assert first.passed_at is not None and second.passed_at is None
        assert open_attempt(assignment).rung == second
        attempt.angle.request.refresh_from_db()
        assert attempt.angle.request.closed_at is not None
        entry = Entry.objects.get(kind=Entry.Kind.JUDGED)
        assert entry.refs["request"] == open_attempt(assignment).angle.request_id

    def test_the_last_rung_closes_the_cause_and_calls_for_a_new_look(self):
        review = make_review()
        cause = make_finding(review=review)
        up = make_finding(review=review, kind="compensation", words="you stand up", because=[cause])
        assignment = make_assignment(review=review, finding=cause)
        climb(assignment)
        assignment.refresh_from_db()
        cause.refresh_from_db()
        assert assignment.closed_at and cause.closed_at
        students = Student.objects.filter(pk=review.student_id)
        assert list(queries.due_for_new_look(students)) == [up]
        assert assignment.check_due_on == timezone.localdate() + timedelta(days=14)
        last = Entry.objects.filter(kind=Entry.Kind.JUDGED).last()
        assert last.refs["look_again"] == [up.pk]

    def test_two_ladders_for_one_cause_close_it_together(self):
        review = make_review()
        cause = make_finding(review=review)
        version = make_drill(studio=review.student.studio)
        one = make_assignment(review=review, finding=cause, drill=version, opened=False)
        two = make_assignment(review=review, finding=cause, drill=version)
        climb(one)
        cause.refresh_from_db()
        assert cause.closed_at is None
        climb(two)
        cause.refresh_from_db()
        assert cause.closed_at is not None

    def test_a_rung_may_want_passes_on_two_days(self):
        assignment = make_assignment(rungs=[TURN_RUNG | {"days": 2}])
        first = open_attempt(assignment)
        send_film(first, (52, 4), (50, 4), (55, 4))
        judge(first, "passed")
        again = open_attempt(assignment)
        assert again.rung == first.rung
        clip = send_film(again, (52, 4), (50, 4), (55, 4))
        judge(again, "passed")  # the same day: not yet two
        assert Rung.objects.get().passed_at is None
        third = open_attempt(assignment)
        clip = send_film(third, (52, 4), (50, 4), (55, 4))
        clip.created_at = timezone.now() + timedelta(days=1)
        clip.save()
        judge(third, "passed")
        assert Rung.objects.get().passed_at is not None

    def test_nearly_needs_one_cue_and_keeps_the_rung(self):
        assignment = make_assignment()
        attempt = open_attempt(assignment)
        send_film(attempt, (36, 4), (37, 4), (35, 4))
        refused("no_cue", judge, attempt=attempt, decision="nearly")
        verdict = judge(attempt, "nearly", cue="Pocket  further back")
        assert verdict.cue == "Pocket further back"
        assert open_attempt(assignment).rung == attempt.rung

    def test_not_yet_and_a_step_back(self):
        assignment = make_assignment()
        first = open_attempt(assignment)
        send_film(first, (52, 4), (50, 4), (55, 4))
        refused("first_rung", judge, attempt=first, decision="step_back")
        judge(first, "passed")
        second = open_attempt(assignment)
        send_film(second, (20, 4), (21, 4), (22, 4))
        judge(second, "not_yet")
        third = open_attempt(assignment)
        assert third.rung == second.rung
        send_film(third, (20, 4), (21, 4), (22, 4))
        judge(third, "step_back")
        back = open_attempt(assignment)
        assert back.rung == first.rung
        assert back.rung.passed_at is None
        send_film(back, (52, 4), (50, 4), (55, 4))
        judge(back, "passed")
        assert open_attempt(assignment).rung == second.rung

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
        refused("not_climbed", services.ask_check_film, assignment=assignment, by=None)
        climb(assignment)
        assignment.refresh_from_db()
        students = Student.objects.filter(pk=assignment.student_id)
        assert list(queries.checks_due(students)) == []
        Assignment.objects.update(check_due_on=timezone.localdate())
        assignment.refresh_from_db()
        assert list(queries.checks_due(students)) == [assignment]
        request = services.ask_check_film(assignment=assignment, by=assignment.student.coach)
        assert request.angles.get().effort == "full"
        assert list(queries.checks_due(students)) == []
        refused("asked", services.ask_check_film, assignment=assignment, by=None)


class TestTheStudentsOwnWords:
    def test_a_self_test_answer(self):
        assignment = make_assignment(rungs=[TURN_RUNG | {"criteria": [SELF_TEST]}])
        attempt = open_attempt(assignment)
        clip = send_film(attempt)
        criterion = attempt.rung.criteria.get()
        tell = {"submission": clip, "criterion": criterion, "by": assignment.student.user}
        assert queries.judged([clip])[clip.pk].suggestion.why == "unanswered"
        services.record_self_answer(**tell, yes=False)
        assert queries.judged([clip])[clip.pk].suggestion.says == "does_not"
        services.record_self_answer(**tell, yes=True, words="easy")
        assert queries.judged([clip])[clip.pk].suggestion.says == "passes"
        assert clip.self_answers.get().words == "easy"
        judge(attempt, "passed")
        refused("judged", services.record_self_answer, **tell, yes=False)

    def test_an_answer_to_something_else_is_refused(self):
        attempt = open_attempt(make_assignment())
        clip = send_film(attempt)
        refused(
            "not_asked", services.record_self_answer,
            submission=clip, criterion=attempt.rung.criteria.get(), by=None, yes=True,
        )  # fmt: skip

    def test_the_feel_is_told_once(self):
        attempt = open_attempt(make_assignment())
        assert services.tell_feel(attempt=attempt, count=2)
        assert not services.tell_feel(attempt=attempt, count=3)
        attempt.refresh_from_db()
        assert attempt.felt == 2
        refused("count", services.tell_feel, attempt=attempt, count=4)


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
        report = services.report_pain(student=hip.student, by=hip.student.user, region="hip")
        hip.refresh_from_db()
        wrist.refresh_from_db()
        assert hip.stopped_at is not None and wrist.stopped_at is None
        assert open_attempt(hip).angle.request.suspended_at is not None
        assert open_attempt(wrist).angle.request.suspended_at is None
        entry = Entry.objects.get(kind=Entry.Kind.PAIN)
        assert entry.refs == {"pain_report": report.pk, "assignments": [hip.pk]}

    def test_the_drill_it_was_said_from_stops_whatever_it_loads(self):
        wrist = self.running(("wrist",))
        services.report_pain(
            student=wrist.student, by=wrist.student.user, region="knee", assignment=wrist
        )
        wrist.refresh_from_db()
        assert wrist.stopped_at is not None

    def test_pain_somewhere_else_stops_everything(self):
        wrist = self.running(("wrist",))
        services.report_pain(student=wrist.student, by=None, region="other")
        wrist.refresh_from_db()
        assert wrist.stopped_at is not None

    def test_a_hard_swing_loads_everything(self):
        assignment = self.running(("wrist",))
        send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
        judge(open_attempt(assignment), "passed")
        assert open_attempt(assignment).rung.effort == "full"
        services.report_pain(student=assignment.student, by=None, region="knee")
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None

    def test_a_rung_that_opens_while_something_hurts_is_stopped(self):
        assignment = self.running(("wrist",))
        services.report_pain(student=assignment.student, by=None, region="knee")
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        judge(attempt, "passed")  # the next one swings hard
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None
        assert open_attempt(assignment).angle.request.suspended_at is not None

    def test_requests_to_swing_stop_and_to_stand_do_not(self):
        student = factories.make_student()
        ask = {"student": student, "by": student.coach}
        swing = intake.request_angles(**ask, angles=[{"view": "face_on", "kind": "swing"}])
        stand = intake.request_angles(**ask, angles=[{"view": "face_on", "kind": "setup"}])
        both = intake.request_angles(
            **ask,
            angles=[{"view": "face_on", "kind": "setup"}, {"view": "face_on", "kind": "swing"}],
        )
        services.report_pain(student=student, by=student.user, region="back")
        for request in (swing, stand, both):
            request.refresh_from_db()
        assert swing.suspended_at and both.suspended_at and not stand.suspended_at

    def test_a_report_sent_twice_is_one(self):
        student = factories.make_student()
        tell = {"student": student, "by": student.user, "region": "hip", "words": "sharp"}
        assert services.report_pain(**tell) == services.report_pain(**tell)
        assert PainReport.objects.count() == 1
        services.report_pain(**tell | {"urgent": True})
        assert PainReport.objects.count() == 2

    def test_refusals(self):
        student = factories.make_student()
        tell = {"student": student, "by": student.user}
        refused("region", services.report_pain, **tell, region="soul")
        other = self.running()
        refused("wrong_student", services.report_pain, **tell, region="hip", assignment=other)

    def test_no_verdict_goes_past_a_stop(self):
        assignment = self.running()
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        services.report_pain(student=assignment.student, by=None, region="hip")
        attempt = Attempt.objects.get(pk=attempt.pk)
        refused("stopped", judge, attempt=attempt, decision="passed")
        judge(attempt, "stop")

    def test_reopening_needs_the_students_statement_and_the_coach(self):
        assignment = self.running()
        student = assignment.student
        report = services.report_pain(student=student, by=student.user, region="hip")
        refused("no_statement", services.reopen_after_pain, report=report, by=student.coach)
        refused(
            "no_words", services.state_professional_agreed,
            report=report, by=student.user, words=" ",
        )  # fmt: skip
        services.state_professional_agreed(
            report=report, by=student.user, words="My physio agreed on Monday"
        )
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None  # a statement opens nothing by itself
        services.reopen_after_pain(report=report, by=student.coach)
        assignment.refresh_from_db()
        assert assignment.stopped_at is None
        assert open_attempt(assignment).angle.request.suspended_at is None
        assert Entry.objects.filter(kind=Entry.Kind.REOPENED).count() == 1
        refused("reopened", services.reopen_after_pain, report=report, by=student.coach)
        refused(
            "reopened", services.state_professional_agreed,
            report=report, by=student.user, words="again",
        )  # fmt: skip

    def test_a_second_report_keeps_it_stopped(self):
        assignment = self.running(("hip", "back"))
        student = assignment.student
        hip = services.report_pain(student=student, by=student.user, region="hip")
        services.report_pain(student=student, by=student.user, region="back")
        services.state_professional_agreed(report=hip, by=student.user, words="agreed")
        services.reopen_after_pain(report=hip, by=student.coach)
        assignment.refresh_from_db()
        assert assignment.stopped_at is not None
        students = Student.objects.filter(pk=student.pk)
        assert [r.region for r in queries.open_pain(students)] == ["back"]

    def test_seen_is_kept_once(self):
        report = services.report_pain(student=factories.make_student(), by=None, region="hip")
        services.mark_pain_seen(report=report)
        report.refresh_from_db()
        first = report.seen_at
        services.mark_pain_seen(report=report)
        report.refresh_from_db()
        assert report.seen_at == first
