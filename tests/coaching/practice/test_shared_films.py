"""One film for several drills, the next step as the coach wants it, and the coach's own clip."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from coaching.dashboard.rows import Row, waiting_list
from coaching.intake.models import Request
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.queries import student_day
from coaching.practice import drills, undo
from coaching.practice.models import Assignment, Attempt, Verdict
from coaching.practice.queries import judged, ladders, targets
from coaching.practice.services import assigning, judging, library, stopping
from coaching.review.services import sending
from tests import shot
from tests.coaching.practice.making import (
    TURN_RUNG,
    library_drill,
    make_assignment,
    make_drill,
    make_review,
    open_attempt,
    send_film,
    typed,
)

SEAT: dict[str, Any] = TURN_RUNG | {
    "text": "Seat stays back.",
    "criteria": [
        {"comparison": "at_most", "measure": "pelvis_to_ball_down_cm", "event": "impact", "high": 3}
    ],
}
STANCE: dict[str, Any] = {
    "kind": "hold", "text": "Keep still.", "view": "down_the_line", "film_kind": "setup",
    "effort": "still", "ball": "none", "need": 1, "repetitions": 1,
    "criteria": [
        {"comparison": "between", "measure": "trunk_tilt_deg", "event": "address",
         "low": 28, "high": 44}
    ],
}  # fmt: skip


@pytest.fixture
def two(student) -> tuple[Assignment, Assignment]:
    """A drill for the turn, and one for the seat: both want a slow swing from behind."""
    review = make_review(student=student)
    turn = make_assignment(review=review, opened=False)
    other = make_drill(
        studio=student.studio, slug="seat", title="Seat", loads=["back"],
        ladder=[SEAT, SEAT | {"kind": "ball", "film_kind": "swing", "effort": "half"}],
    )  # fmt: skip
    seat = make_assignment(review=review, drill=other, opened=False)
    sending.publish_review(review=review, by=review.student.coach)
    turn.refresh_from_db()
    seat.refresh_from_db()
    return turn, seat


@pytest.fixture
def coach_client(client_for, student):
    return client_for(student.coach)


@pytest.fixture
def student_client(client_for, student):
    return client_for(student.user)


def waiting(student: Student) -> list[Row]:
    return [r for r in waiting_list(Student.objects.filter(pk=student.pk)) if r.kind == "drill"]


def judge(attempt: Attempt, decision: str = "passed", **more: Any) -> Verdict:
    coach = attempt.step.assignment.student.coach
    return judging.judge_attempt(attempt=attempt, by=coach, decision=decision, **more)


class TestOneFilm:
    def test_it_is_asked_for_once_and_names_both_drills(self, two):
        first, second = (open_attempt(a) for a in two)
        assert first.angle_id == second.angle_id
        request = first.angle.request
        assert request.text.startswith("One film for “A drill” and “Seat”.")
        assert "Slow swings, no ball." in request.text and "Seat stays back." in request.text
        assert [a.pk for a in ladders.drills_sharing(first)] == [two[1].pk]

    def test_each_criterion_is_judged_where_it_belongs(self, two):
        first, second = (open_attempt(a) for a in two)
        clip = send_film(first, (52, 2), (52, 2), (52, 2))
        results = {j.attempt.pk: j for j in judged.judged_all([clip])[clip.pk]}
        assert {a.measure for a in results[first.pk].asked} == {"pelvis_turn_deg"}
        assert {a.measure for a in results[second.pk].asked} == {"pelvis_to_ball_down_cm"}
        assert results[first.pk].suggestion.says == "passes"
        assert results[second.pk].suggestion.says == "cannot_tell"

    def test_the_clip_waits_until_every_drill_has_its_verdict(self, two):
        first, second = (open_attempt(a) for a in two)
        clip = send_film(first, (52, 2), (52, 2), (52, 2))
        judge(first)
        clip.refresh_from_db()
        first.angle.request.refresh_from_db()
        assert clip.answered_at is None and first.angle.request.closed_at is None
        assert judged.attempts_of([clip])[clip.pk][0] == second
        judge(second, "nearly", cue="Seat back.")
        clip.refresh_from_db()
        first.angle.request.refresh_from_db()
        assert clip.answered_at and first.angle.request.closed_at

    def test_every_verdict_is_asked_for_on_one_page(self, coach_client, two):
        first, second = (open_attempt(a) for a in two)
        send_film(first, (52, 2), (52, 2), (52, 2))
        page = coach_client.get(reverse("practice:judge", args=[first.pk])).content.decode()
        assert "One film for 2 drills" in page
        for attempt in (first, second):
            assert reverse("practice:verdict", args=[attempt.pk]) in page
        answer = coach_client.post(
            reverse("practice:verdict", args=[first.pk]), {"decision": "passed"}
        )
        assert answer.url == reverse("practice:judge", args=[second.pk])
        answer = coach_client.post(
            reverse("practice:verdict", args=[second.pk]), {"decision": "not_yet"}
        )
        assert answer.url == reverse("waiting")

    def test_the_waiting_row_names_what_is_still_to_judge(self, two):
        first, second = (open_attempt(a) for a in two)
        send_film(first, (52, 2), (52, 2), (52, 2))
        (row,) = waiting(two[0].student)
        assert row.sentence == "tried “A drill”, step 1 and “Seat”, step 1, down the line."
        judge(first)
        (row,) = waiting(two[0].student)
        assert row.attempt == second and row.what == "Seat, step 1"

    def test_how_one_stands_is_seen_in_a_slow_swing(self, student):
        review = make_review(student=student)
        make_assignment(review=review, opened=False)
        stance = make_drill(studio=student.studio, slug="stance", title="Stance", ladder=[STANCE])
        make_assignment(review=review, drill=stance, opened=False)
        sending.publish_review(review=review, by=student.coach)
        attempts = Attempt.objects.all()
        assert len({a.angle_id for a in attempts}) == 1
        angle = attempts[0].angle
        assert (angle.kind, angle.repetitions) == ("rehearsal", 3)

    def test_another_side_or_speed_wants_a_film_of_its_own(self, student):
        review = make_review(student=student)
        make_assignment(review=review, opened=False)
        for slug, change in {"front": {"view": "face_on"}, "ball": {"ball": "foam"}}.items():
            drill = make_drill(studio=student.studio, slug=slug, ladder=[TURN_RUNG | change])
            make_assignment(review=review, drill=drill, opened=False)
        sending.publish_review(review=review, by=student.coach)
        assert len({a.angle_id for a in Attempt.objects.all()}) == 3

    def test_pain_stops_one_and_the_other_keeps_a_film_of_its_own(self, two):
        turn, seat = two
        stopping.report_pain(student=turn.student, by=turn.student.user, region="hip")
        turn.refresh_from_db()
        seat.refresh_from_db()
        assert turn.stopped_at and not seat.stopped_at
        mine, other = open_attempt(seat).angle, open_attempt(turn).angle
        assert mine.pk != other.pk
        assert mine.request.suspended_at is None and other.request.suspended_at
        assert mine.request.text == "Seat stays back."

    def test_of_two_stopped_drills_one_goes_on(self, two):
        """Somewhere stops both; in the hip, only the one that loads it stays stopped."""
        turn, seat = two
        report = stopping.stop_drill(assignment=turn, by=turn.student.user)
        seat.refresh_from_db()
        assert seat.stopped_at
        stopping.locate_pain(report=report, by=turn.student.user, region="hip")
        turn.refresh_from_db()
        seat.refresh_from_db()
        assert turn.stopped_at and not seat.stopped_at
        assert open_attempt(seat).angle.request.suspended_at is None
        assert open_attempt(turn).angle.request.suspended_at

    def test_a_verdict_taken_back_leaves_the_other_drill_alone(self, two):
        first, second = (open_attempt(a) for a in two)
        send_film(first, (52, 2), (52, 2), (52, 2))
        verdict = judge(first, "not_yet")
        judge(second, "not_yet")
        again = [open_attempt(a) for a in two]
        assert again[0].angle_id == again[1].angle_id
        undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
        assert open_attempt(two[1]).pk == again[1].pk
        assert "One film" not in Request.objects.get(pk=again[1].angle.request_id).text
        assert not Attempt.objects.filter(pk=again[0].pk).exists()

    def test_ending_one_drill_leaves_the_shared_film_open(self, two):
        first, second = (open_attempt(a) for a in two)
        send_film(first, (52, 2), (52, 2), (52, 2))
        judge(second, "not_yet")
        judge(first, "stop")
        standing = open_attempt(two[1]).angle.request
        assert standing.closed_at is None


class TestTheNextStep:
    @pytest.fixture
    def attempt(self, student) -> Attempt:
        ladder = [TURN_RUNG, TURN_RUNG | {"kind": "several"}, TURN_RUNG | {"kind": "through"}]
        drill = make_drill(studio=student.studio, slug="three", ladder=ladder)
        assignment = make_assignment(review=make_review(student=student), drill=drill)
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 2), (52, 2), (52, 2))
        return attempt

    def current(self, attempt: Attempt) -> ladders.CurrentStep:
        rows = ladders.with_ladder(Assignment.objects.filter(pk=attempt.step.assignment_id))
        return ladders.current_step(rows.get())

    def test_it_follows_by_itself(self, attempt):
        judge(attempt)
        assert self.current(attempt).number == 2

    def test_the_same_once_more(self, attempt):
        judge(attempt, next_step=1)
        assert self.current(attempt).number == 1

    def test_one_is_skipped_and_says_so(self, attempt):
        judge(attempt, next_step=3)
        current = self.current(attempt)
        places = ladders.ladder_view(current.assignment)
        assert [p.state for p in places] == ["passed", "skipped", "now"]

    def test_skipping_is_undone_with_its_verdict(self, attempt):
        verdict = judge(attempt, next_step=3)
        undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
        places = ladders.ladder_view(self.current(attempt).assignment)
        assert [p.state for p in places] == ["now", "ahead", "ahead"]

    def test_the_drill_ends_here(self, attempt):
        judge(attempt, next_step=4)
        assignment = attempt.step.assignment
        assignment.refresh_from_db()
        assert assignment.closed_at and assignment.check_due_on
        assert self.current(attempt).state == "done"

    def test_a_passed_drill_stays_on_both_pages_with_its_day(
        self, coach_client, student_client, attempt
    ):
        judge(attempt, next_step=4)
        student = attempt.step.assignment.student
        for client, name in ((coach_client, "student"), (student_client, "today")):
            page = client.get(reverse(name, args=[student.pk])).content.decode()
            assert "Passed drills" in page or "passed on" in page
        assert list(ladders.passed_drills(student)) == [attempt.step.assignment]

    def test_a_stopped_drill_is_not_a_passed_one(self, attempt):
        judge(attempt)
        second = open_attempt(attempt.step.assignment)
        send_film(second, (20, 2), (20, 2), (20, 2))
        judge(second, "stop")
        assert not ladders.passed_drills(attempt.step.assignment.student)

    def test_it_is_given_a_day(self, attempt):
        day = student_day(attempt.step.assignment.student) + timedelta(days=4)
        judge(attempt, due_on=day)
        assert self.current(attempt).due_on == day

    @pytest.mark.parametrize(
        ("more", "code"),
        [({"next_step": 5}, "no_step"), ({"next_step": 0}, "no_step"), ({"due_on": -1}, "dates")],
    )
    def test_what_cannot_be(self, attempt, more, code):
        if "due_on" in more:
            more = {"due_on": student_day(attempt.step.assignment.student) - timedelta(days=1)}
        with pytest.raises(LessonError) as error:
            judge(attempt, **more)
        assert error.value.code == code

    def test_days_to_film_in_are_counted_from_when_a_step_opens(self, student):
        drill = make_drill(
            studio=student.studio, slug="week", ladder=[TURN_RUNG | {"within_days": 7}]
        )
        assignment = make_assignment(review=make_review(student=student), drill=drill)
        request = open_attempt(assignment).angle.request
        assert request.due_on == student_day(student) + timedelta(days=7)

    def test_the_steps_ahead_are_written_anew(self, coach_client, student_client, attempt):
        address = reverse("practice:ahead", args=[attempt.step.assignment_id])
        assert student_client.get(address).status_code == 404
        rows = [TURN_RUNG | {"kind": "foam", "text": "With foam.", "ball": "foam"}]
        answer = coach_client.post(address, typed(rows) | {"ahead": "1"})
        assert answer.url == reverse("practice:judge", args=[attempt.pk])
        steps = list(attempt.step.assignment.steps.all())
        assert [s.kind for s in steps] == ["slow", "foam"]
        assert steps[1].criteria.get().low == 38 and steps[1].text == "With foam."

    def test_what_contradicts_the_steps_behind_is_refused_and_kept(self, coach_client, attempt):
        address = reverse("practice:ahead", args=[attempt.step.assignment_id])
        harder = TURN_RUNG | {
            "criteria": [
                {"comparison": "at_least", "measure": "pelvis_turn_deg", "event": "top", "low": 60}
            ]
        }
        answer = coach_client.post(address, typed([harder]) | {"ahead": "1"})
        assert answer.status_code == 400
        page = answer.content.decode()
        assert "asks for more than step 1" in page and 'value="60"' in page
        assert attempt.step.assignment.steps.count() == 3

    def test_an_ended_drill_is_not_written_anew(self, attempt):
        judge(attempt, next_step=4)
        assignment = Assignment.objects.get(pk=attempt.step.assignment_id)
        with pytest.raises(LessonError) as error:
            assigning.change_ahead(
                assignment=assignment, by=assignment.student.coach, steps=[TURN_RUNG]
            )
        assert error.value.code == "ended"


class TestOnesOwnClip:
    def show(self, client, assignment, name="own.webm", **fields):
        data = shot.jpeg() if name.endswith(".jpg") else shot.clip("webm")
        clip = SimpleUploadedFile(name, data, content_type="video/webm")
        address = reverse("practice:show", args=[assignment.pk])
        return client.post(address, {"shown": clip, **fields}, follow=True)

    def test_the_nearest_is_shown_first(self, coach_client, student_client, student):
        assignment = make_assignment(review=make_review(student=student))
        page = reverse("practice:drill", args=[assignment.pk])
        self.show(coach_client, assignment)
        assignment.refresh_from_db()
        whole = reverse("practice:shown_assignment", args=[assignment.pk])
        assert whole in student_client.get(page).content.decode()
        assert student_client.get(whole).status_code == 200
        step = assignment.steps.first()
        self.show(coach_client, assignment, step=str(step.pk), name="step.jpg")
        nearest = reverse("practice:shown_step", args=[step.pk])
        shown = student_client.get(page).content.decode()
        assert nearest in shown and whole not in shown
        assert student_client.get(nearest)["Content-Type"] == "image/jpeg"

    def test_it_is_taken_away(self, coach_client, student):
        assignment = make_assignment(review=make_review(student=student))
        self.show(coach_client, assignment)
        address = reverse("practice:show", args=[assignment.pk])
        coach_client.post(address, {"remove": "1"})
        assignment.refresh_from_db()
        assert not assignment.shown

    def test_it_is_nobody_elses(self, coach_client, client_for, stranger, student):
        assignment = make_assignment(review=make_review(student=student))
        self.show(coach_client, assignment)
        whole = reverse("practice:shown_assignment", args=[assignment.pk])
        assert client_for(stranger).get(whole).status_code == 404
        assert self.show(client_for(stranger), assignment).status_code == 404

    def test_what_is_no_picture_is_refused_with_a_sentence(self, coach_client, student):
        assignment = make_assignment(review=make_review(student=student))
        page = self.show(coach_client, assignment, name="own.exe").content.decode()
        assert "Choose a picture (JPEG, PNG, WebP) or a clip (MP4, WebM)." in page
        assignment.refresh_from_db()
        assert not assignment.shown


def test_the_picture_of_a_held_club_shows_the_club_that_is_held(student):
    library.load_starter_library(by=None, studio=student.studio)
    drill = library_drill(student.studio, "turn-with-a-club-on-the-hips")
    assignment = make_assignment(review=make_review(student=student), drill=drills.newest(drill))
    held, swung = assignment.steps.all()[:2]
    (shown,) = targets.targets_shown(held, drill.slug, "right")
    assert (shown.drawn.caption, shown.moment_words) == ("Along the stick; hold", "while you hold")
    (shown,) = targets.targets_shown(swung, drill.slug, "right")
    assert (shown.drawn.caption, shown.moment_words) == ("Then to the top", "at the top")
