"""A finding follows its figure: a draft's takes it over, a sent one says what it reads now."""

from __future__ import annotations

import pytest
from django.urls import reverse

from analysis.figures import store_figures
from analysis.models import Measurement
from coaching.diagnosis import queries
from coaching.diagnosis.grounds import Ground
from coaching.diagnosis.services import suggested
from coaching.review.services import drafts, sending
from tests import factories
from tests.coaching.practice.making import TURN, make_finding, make_review

pytestmark = pytest.mark.django_db


def correct(run, value, event="top"):
    """What every correction does to the figures of a run."""
    row = {"id": TURN[0], "event": event, "unit": "deg", "source": "corrected"}
    row |= {"reason": value} if isinstance(value, str) else {"value": value, "uncertainty": 2.0}
    store_figures(run=run, repetitions=[{"events": {}, "measures": [row]}])


@pytest.fixture
def review():
    return make_review(figures={TURN: (30.0, 2.0)})


@pytest.fixture
def run(review):
    return review.submissions.get().video.measured()


def line_of(review, finding):
    return queries.diagnosis_of(review.student, review).line(finding.pk)


def test_a_drafts_finding_takes_the_corrected_figure(review, run):
    finding = make_finding(review=review, measurement=run.measurements.get())
    correct(run, 34.0)
    finding.refresh_from_db()
    assert (finding.value, finding.measurement) == (34.0, run.measurements.get())
    assert line_of(review, finding).grounds.state == Ground.STANDS


def test_a_sent_finding_keeps_what_was_sent_and_says_so(review, run, client_for):
    finding = make_finding(review=review, measurement=run.measurements.get())
    drafts.save_words(review=review, text="Turn.", revision=review.revision, by=review.coach)
    sending.publish_review(review=review, by=review.coach)
    correct(run, 34.0)
    finding.refresh_from_db()
    assert finding.value == 30.0
    assert finding.measurement.value == 30.0, "the figure before it was corrected stays"
    assert line_of(review, finding).grounds.state == Ground.CHANGED
    page = client_for(review.coach).get(reverse("diagnosis:shown", args=[review.student_id]))
    assert "The figure behind this reads 34° ± 4 now." in page.content.decode()


def test_a_finding_whose_figure_is_gone_has_lost_its_ground(review, run):
    finding = make_finding(review=review, measurement=run.measurements.get())
    correct(run, "not_seen")
    finding.refresh_from_db()
    assert finding.value == 30.0
    assert line_of(review, finding).grounds.state == Ground.LOST


def test_a_suggestion_that_would_not_fire_any_more_has_lost_its_ground():
    review = make_review(figures={TURN: (18.0, 2.0)})
    finding = suggested.accept_suggestion(review=review, by=review.coach, entry="little-hip-turn")
    assert line_of(review, finding).grounds.state == Ground.STANDS
    correct(review.submissions.get().video.measured(), 60.0)
    finding.refresh_from_db()
    assert finding.value == 60.0
    assert line_of(review, finding).grounds.state == Ground.LOST


def test_a_newer_pipelines_figure_is_followed_too(review, run):
    finding = make_finding(review=review, measurement=run.measurements.get())
    newer = factories.make_run(video=run.video, pipeline_version="next")
    correct(newer, 36.0)
    finding.refresh_from_db()
    assert (finding.value, finding.measurement.run) == (36.0, newer)


def test_a_correction_adds_a_set_and_changes_none(run):
    before = run.measurements.get()
    correct(run, 34.0)
    assert run.measurements.get().value == 34.0
    kept = Measurement.everything.filter(run=run).order_by("pk").values_list("value", "source")
    assert list(kept) == [(before.value, "measured"), (34.0, "corrected")]


def test_a_limit_of_one_club_is_enough(client_for):
    """A driver that comes down at 55 degrees is steep, though a wedge there is not."""
    review = make_review(figures={("shaft_pitch_deg", "lead_arm_down"): (56.0, 2.0)})
    row = review.submissions.get().video.measured().measurements.get()
    finding = make_finding(review=review, measurement=row, entry="steep-coming-down")
    drafts.save_words(review=review, text="Softer.", revision=review.revision, by=review.coach)
    sending.publish_review(review=review, by=review.coach)
    moved = {"id": "shaft_pitch_deg", "event": "lead_arm_down", "unit": "deg"}
    moved |= {"source": "corrected", "value": 55.0, "uncertainty": 2.0}
    run = review.submissions.get().video.measured()
    store_figures(run=run, repetitions=[{"events": {}, "measures": [moved]}])
    finding.refresh_from_db()
    assert line_of(review, finding).grounds.state == Ground.CHANGED
