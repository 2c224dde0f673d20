"""Shared reads: what came back, where a student stands, what is due."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from coaching.intake.models import Submission
from coaching.practice.models import Criterion
from coaching.practice.queries import judged, ladders, progress
from coaching.practice.services import judging, stopping
from tests import factories
from tests.coaching.practice.making import (
    TURN_RUNG,
    make_assignment,
    make_review,
    open_attempt,
    send_film,
)

pytestmark = pytest.mark.django_db


def judge(assignment, decision="passed", **options):
    attempt = open_attempt(assignment)
    return judging.judge_attempt(
        attempt=attempt, by=assignment.student.coach, decision=decision, **options
    )


class TestMeasuredAgainstAsked:
    def test_one_row_a_criterion_and_repetition(self):
        attempt = open_attempt(make_assignment())
        clip = send_film(attempt, (52, 4), "shaft_end_on", (30, 4))
        rows = judged.measured_against_asked([clip])[clip.pk]
        assert [(r.repetition, r.value, r.reason, r.standing) for r in rows] == [
            (1, 52.0, "", "counts"),
            (2, None, "shaft_end_on", "not_seen"),
            (3, 30.0, "", "does_not_count"),
        ]
        assert rows[0].chance > 0.99 and rows[1].chance is None

    def test_a_clip_without_a_step_has_no_row(self):
        assert judged.measured_against_asked([factories.make_submission()]) == {}

    def test_repetitions_past_what_was_asked_are_not_judged(self):
        clip = send_film(open_attempt(make_assignment()), *[(52, 4)] * 5)
        assert len(judged.measured_against_asked([clip])[clip.pk]) == 3

    def test_the_newest_measuring_counts(self):
        clip = send_film(open_attempt(make_assignment()), (20, 4))
        run = factories.make_run(video=clip.video, pipeline_version="next")
        factories.make_measurement(run=run, reading=(52, 4))
        assert judged.measured_against_asked([clip])[clip.pk][0].value == 52.0

    def test_queries_do_not_grow_with_clips(self, django_assert_num_queries):
        clips = []
        for number in range(4):
            assignment = make_assignment(review=make_review())
            clips.append(send_film(open_attempt(assignment), (52, 4), (50, 4)))
            if number == 0:
                rows = list(Submission.objects.filter(pk=clips[0].pk))
                with django_assert_num_queries(6):
                    judged.judged(rows)
        rows = list(Submission.objects.filter(pk__in=[clip.pk for clip in clips]))
        with django_assert_num_queries(6):
            assert len(judged.judged(rows)) == 4


class TestTargets:
    @pytest.mark.parametrize(
        ("fields", "low", "high"),
        [
            ({"comparison": "at_least", "low": 38}, 38, float("inf")),
            ({"comparison": "at_most", "high": 70}, float("-inf"), 70),
            ({"comparison": "between", "low": 40, "high": 45}, 40, 45),
            ({"comparison": "changed_by", "baseline": 28, "change": 10}, 38, float("inf")),
            ({"comparison": "changed_by", "baseline": 28, "change": -10}, float("-inf"), 18),
        ],
    )
    def test_the_band_of_a_criterion(self, fields, low, high):
        target = judged.target_of(Criterion(measure="pelvis_turn_deg", event="top", **fields))
        assert (target.band.low, target.band.high) == (low, high)

    @pytest.mark.parametrize(
        "fields", [{"comparison": "self_test", "question": "?"}, {"comparison": "changed_by"}]
    )
    def test_a_self_test_and_half_a_criterion_have_none(self, fields):
        assert judged.target_of(Criterion(**fields)) is None


class TestLadders:
    def step(self, assignment):
        return ladders.current_step(
            ladders.with_ladder(type(assignment).objects.filter(pk=assignment.pk)).get()
        )

    def test_every_state(self):
        assignment = make_assignment()
        assert self.step(assignment).state == "film"
        send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
        assert self.step(assignment).state == "sent"
        judge(assignment)
        step = self.step(assignment)
        assert (step.state, step.number) == ("film", 2)
        stopping.report_pain(student=assignment.student, by=assignment.student.user, region="hip")
        assert self.step(assignment).state == "stopped"
        places = ladders.ladder_view(ladders.with_ladder(type(assignment).objects.all()).get())
        assert [(p.state, p.stone) for p in places] == [
            ("passed", "done"),
            ("stopped", "stop"),
        ]

    def test_done(self):
        assignment = make_assignment(steps=[TURN_RUNG])
        send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
        judge(assignment)
        assert self.step(assignment).state == "done"

    def test_days_are_counted_since_the_last_step_back(self):
        assignment = make_assignment(steps=[TURN_RUNG | {"days": 3}])
        for days in (0, 0, 1):
            clip = send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
            clip.created_at = timezone.now() + timedelta(days=days)
            clip.save()
            judge(assignment)
        [place] = ladders.ladder_view(ladders.with_ladder(type(assignment).objects.all()).get())
        assert (place.state, place.passes, place.attempts) == ("now", 2, 3)

    def test_a_ladders_queries_do_not_grow_with_attempts(self, django_assert_num_queries):
        assignment = make_assignment(steps=[TURN_RUNG | {"days": 5}])
        rows = ladders.with_ladder(type(assignment).objects.filter(pk=assignment.pk))
        for _ in range(3):
            send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
            judge(assignment)
            with django_assert_num_queries(5):
                ladders.ladder_view(rows.all().get())


class TestOverTime:
    def test_conditions_stay_apart_and_means_are_surer(self):
        assignment = make_assignment()
        clip = send_film(open_attempt(assignment), (50, 4), (52, 4), (54, 4))
        clip.created_at = timezone.now() + timedelta(days=1)
        clip.save()
        before, rehearsal = progress.series_of(assignment.student)
        assert (before.kind, rehearsal.kind) == ("swing", "rehearsal")
        [point] = rehearsal.points
        assert (point.value, point.repetitions, point.low, point.high) == (52.0, 3, 38.0, None)
        assert point.uncertainty < 4.0

    def test_an_unread_figure_has_no_point(self):
        assignment = make_assignment()
        send_film(open_attempt(assignment), "not_ready", "not_ready")
        assert [s.kind for s in progress.series_of(assignment.student)] == ["swing"]

    def test_how_much_is_left(self):
        assignment = make_assignment()
        send_film(open_attempt(assignment), (54, 4), (54, 4), (54, 4))
        judge(assignment)
        send_film(open_attempt(assignment), (39, 4), (39, 4), (39, 4))
        criterion, kept = progress.kept_change(
            ladders.with_ladder(type(assignment).objects.all()).get()
        )
        assert criterion.baseline == 24.0
        assert [row.percent for row in kept] == [100, 50]

    def test_the_same_kind_of_film_is_the_better_baseline(self):
        student = factories.make_student()
        for kind, value in (("rehearsal", 30), ("swing", 24)):
            clip = factories.make_submission(student=student)
            clip.video.kind = kind
            clip.video.save()
            factories.make_measured(clip, {("pelvis_turn_deg", "top"): (value, 4)})
        where = (student, "pelvis_turn_deg", "top")
        assert progress.baseline_of(*where, kind="rehearsal").value == 30
        assert progress.baseline_of(*where, kind="hold").value == 24  # the newest
        assert progress.baseline_of(*where, view="face_on") is None
        assert progress.baseline_of(student, "hand_depth_cm", "top") is None

    def test_then_and_now_are_the_same_moment_of_the_same_side(self):
        assignment = make_assignment()
        first = assignment.review.submissions.get()
        clip = send_film(open_attempt(assignment), (50, 4))
        clip.created_at = timezone.now() + timedelta(days=1)
        clip.save()
        assert progress.then_and_now(clip, "top") == ((first, "top"), (clip, "top"))
        assert progress.then_and_now(clip, "delivery")[0] is None
