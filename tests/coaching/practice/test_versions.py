"""Figures of two pipeline versions never share a line, a comparison, a criterion or a change."""

from __future__ import annotations

import pytest
from django.urls import reverse

from analysis.models import Run
from coaching.practice.queries import judged as judged_queries
from coaching.practice.queries import ladders, progress
from coaching.practice.services import judging
from coaching.review.queries import comparing, player
from coaching.review.services import drafts, sending
from tests import factories
from tests.coaching.practice.making import (
    TURN,
    TURN_RUNG,
    make_assignment,
    make_finding,
    make_review,
    open_attempt,
    send_film,
)

pytestmark = pytest.mark.django_db
CHANGED = TURN_RUNG | {
    "criteria": [{"comparison": "changed_by", "measure": TURN[0], "event": TURN[1], "change": 10}]
}


def clip_of(student, *, version, value):
    clip = factories.make_submission(student=student)
    run = factories.make_measured(clip, {TURN: (value, 2.0)})
    Run.objects.filter(pk=run.pk).update(pipeline_version=version)
    return clip


def measure_again(clip, *, version, value):
    run = factories.make_run(video=clip.video, pipeline_version=version, background=True)
    factories.make_measurement(run=run, reading=(value, 2.0))


@pytest.fixture
def clips(student):
    """Two clips of one swing; the second was measured by a later pipeline."""
    first = clip_of(student, version="1", value=30.0)
    second = clip_of(student, version="2", value=42.0)
    review = drafts.open_draft(submissions=[first], by=student.coach)
    row = first.video.measured().measurements.get()
    make_finding(review=review, measurement=row)
    drafts.save_words(review=review, text="Turn.", revision=review.revision, by=student.coach)
    sending.publish_review(review=review, by=student.coach)
    return first, second


class TestLines:
    def test_one_line_holds_one_version(self, student, clips, client_for):
        [series] = progress.series_of(student)
        assert [point.value for point in series.points] == [42.0]
        assert (series.version, series.left_out, series.in_background) == ("2", 1, False)
        page = client_for(student.user).get(reverse("practice:progress", args=[student.pk]))
        assert "1 earlier clip was measured by an older version" in page.content.decode()

    def test_what_waits_in_the_background_is_said(self, student, clips, client_for):
        factories.make_run(
            video=clips[0].video, pipeline_version="2", status="queued", background=True
        )
        [series] = progress.series_of(student)
        assert series.in_background
        page = client_for(student.user).get(reverse("practice:progress", args=[student.pk]))
        assert "being measured again" in page.content.decode()

    def test_once_measured_again_both_share_it(self, student, clips):
        measure_again(clips[0], version="2", value=40.0)
        [series] = progress.series_of(student)
        assert [point.value for point in series.points] == [40.0, 42.0]
        assert series.left_out == 0


class TestComparing:
    def test_versions_are_not_compared(self, clips, client_for, student):
        first, second = (player.with_figures(clip.video_id) for clip in clips)
        assert comparing.differences(first, second) == []
        page = client_for(student.coach).get(
            reverse("review:compare"), {"a": first.pk, "b": second.pk}
        )
        assert "measured by different versions" in page.content.decode()

    def test_the_newest_version_of_both_is_taken(self, clips):
        measure_again(clips[0], version="2", value=40.0)
        first, second = (player.with_figures(clip.video_id) for clip in clips)
        [row] = comparing.differences(first, second)
        assert (row["first"].value, row["second"].value) == (40.0, 42.0)
        assert row["says"] == "no_change_seen"


class TestCriteria:
    def judged(self, assignment, clip):
        return judged_queries.judged([clip])[clip.pk]

    def assigned(self):
        return make_assignment(review=make_review(figures={TURN: (24.0, 2.0)}), steps=[CHANGED])

    def newer_film(self, assignment, *readings):
        clip = send_film(open_attempt(assignment), *readings)
        clip.video.runs.filter(kind="measure").update(pipeline_version="next")
        return clip

    def test_the_baseline_knows_where_it_was_read(self):
        assignment = self.assigned()
        criterion = assignment.steps.get().criteria.get()
        video = assignment.review.submissions.get().video
        assert criterion.baseline_video == video
        assert criterion.baseline_version == video.measured().pipeline_version

    def test_a_change_across_versions_is_not_told(self):
        assignment = self.assigned()
        result = self.judged(assignment, self.newer_film(assignment, (60, 2), (60, 2), (60, 2)))
        assert {a.reason for a in result.asked} == {"other_version"}
        assert {a.standing for a in result.asked} == {"not_seen"}
        assert (result.suggestion.says, result.suggestion.counted) == ("cannot_tell", 0)

    def test_the_baseline_is_read_anew_where_it_can_be(self):
        assignment = self.assigned()
        base = assignment.review.submissions.get()
        measure_again(base, version="next", value=50.0)
        result = self.judged(assignment, self.newer_film(assignment, (60, 2), (62, 2), (70, 2)))
        assert [a.standing for a in result.asked] == ["close", "close", "counts"]
        assert result.asked[0].criterion.baseline == 50.0
        assert assignment.steps.get().criteria.get().baseline == 24.0, "nothing is written"

    def test_an_absolute_criterion_needs_no_baseline(self):
        assignment = make_assignment()
        clip = self.newer_film(assignment, (60, 2), (60, 2), (60, 2))
        result = self.judged(assignment, clip)
        assert result.suggestion.says == "passes"
        assert result.asked[0].criterion.baseline is None, "no mark of another version's figure"


def test_how_much_is_left_is_told_of_one_version():
    assignment = make_assignment()
    send_film(open_attempt(assignment), (54, 4), (54, 4), (54, 4))
    attempt = open_attempt(assignment)
    judging.judge_attempt(attempt=attempt, by=assignment.student.coach, decision="passed")
    later = send_film(open_attempt(assignment), (39, 4), (39, 4), (39, 4))
    later.video.runs.filter(kind="measure").update(pipeline_version="next")
    rows = ladders.with_ladder(type(assignment).objects.all())
    assert progress.kept_change(rows.get())[1] == []
