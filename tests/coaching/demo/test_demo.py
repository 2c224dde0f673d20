"""The demo: everybody stands where the story says, and nobody else is touched."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.core import mail
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from analysis import services as analysis
from analysis.errors import UnreadableVideo
from analysis.models import Run
from coaching.demo import services, story
from coaching.desk import queries as desk
from coaching.diagnosis.models import Finding
from coaching.intake.queries import state
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.models import Student, Studio, User
from coaching.practice import queries as practice
from coaching.practice.models import Assignment, Verdict
from coaching.review.models import Review
from tests import factories

Rows = dict[str, dict[Any, dict[str, Any]]]


def every_row() -> Rows:
    """All that the database holds, by model and key."""
    return {
        model._meta.label: {
            row["pk"]: row for row in model._base_manager.values("pk", *_columns(model))
        }
        for model in apps.get_models()
    }


def _columns(model: Any) -> list[str]:
    return [field.attname for field in model._meta.concrete_fields]


def files() -> set[Path]:
    return {path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()}


def run(*options: str) -> str:
    out = StringIO()
    call_command("demo", *options, stdout=out)
    return out.getvalue()


@pytest.fixture
def demo(quick_worker: None) -> Studio:
    return services.create_demo(say=lambda line: None)


@pytest.fixture
def keeper(demo: Studio) -> User:
    """The coach of the demo."""
    return User.objects.get(email=story.COACH[1])


def who(key: str) -> Student:
    return Student.objects.get(email=f"{key}@{story.MAIL}")


def waiting(keeper: User, key: str | None = None) -> list[desk.Row]:
    rows = desk.waiting_list(access.students_taught(keeper), user=keeper)
    return [row for row in rows if key is None or row.student == who(key)]


# --- made and taken away ------------------------------------------------------------


def test_nothing_of_another_studio_changes_and_nothing_of_the_demo_stays(
    quick_worker, student, django_capture_on_commit_callbacks, settings, tmp_path
):
    settings.MEDIA_ROOT = tmp_path  # other test processes write into the shared one
    factories.make_measured(
        factories.make_submission(student=student, video=factories.make_video(files=True)),
        {("pelvis_turn_deg", "top"): (38.0, 2.0)},
    )
    factories.make_guardian()
    rows, kept = every_row(), files()

    with django_capture_on_commit_callbacks(execute=True):
        run()
    during = every_row()
    assert Studio.objects.filter(is_demo=True).count() == 1
    for label, before in rows.items():
        assert {pk: during[label][pk] for pk in before} == before

    with django_capture_on_commit_callbacks(execute=True):
        run("--remove")
    assert every_row() == rows
    assert files() == kept


def test_a_second_demo_is_refused_and_leaves_the_first(demo):
    rows = every_row()
    with pytest.raises(CommandError, match="exists already"):
        run()
    assert every_row() == rows


def test_what_breaks_half_way_leaves_no_half_demo(quick_worker, monkeypatch, student):
    def breaks(student: Student, coach: User) -> None:
        raise RuntimeError("the tide came in")

    rows = every_row()
    monkeypatch.setitem(services.LESSONS, "perrin", breaks)
    with pytest.raises(RuntimeError):
        run()
    assert every_row() == rows


def test_there_is_nothing_to_remove_without_a_demo(student):
    with pytest.raises(CommandError, match="no demo"):
        run("--remove")
    assert Student.objects.get() == student


def test_logins_are_listed_and_open_the_door(demo, client):
    told = run("--logins")
    rows = [line.split(maxsplit=2) for line in told.splitlines()]
    assert [row[0] for row in rows] == ["coach", "colleague", *["student"] * 8, "guardian"]
    for _role, address, password in rows:
        sent = client.post(reverse("people:login"), {"username": address, "password": password})
        assert sent.status_code == 302, address


def test_without_a_demo_no_login_is_listed(db):
    assert run("--logins") == ""


def test_nobody_is_written_to(demo):
    assert mail.outbox == []
    assert not Entry.objects.filter(told_at=None).exists()


def test_the_clips_stay_small():
    clips = list(services.CLIPS.glob("*.mp4"))
    assert sum(clip.stat().st_size for clip in clips) < 5_000_000


def test_a_clip_that_cannot_be_measured_is_named_and_leaves_no_demo(quick_worker, monkeypatch):
    def broken(row: Run, progress: Any) -> Any:
        raise UnreadableVideo("not a film")

    monkeypatch.setitem(analysis.WORK, Run.Kind.COPY, broken)
    with pytest.raises(CommandError, match=r"baseline_dtl.mp4 could not be measured .copy"):
        run()
    assert not Studio.objects.exists()


# --- where everybody stands ---------------------------------------------------------


def test_the_waiting_list_holds_every_group_in_its_order(demo, keeper):
    rows = waiting(keeper)
    assert [row.student.name.split()[0] for row in rows if row.group == "pain"] == ["Corin"]
    promised = [row.student.name.split()[0] for row in rows if row.group == "promised"]
    assert promised == ["Wystan", "Brannoc", "Nell"]
    assert {row.student.name.split()[0] for row in rows if row.group == "look_again"} == {"Tilda"}
    assert {row.student.name.split()[0] for row in rows if row.group == "rest"} == {"Nell", "Oda"}
    assert [row.order for row in rows] == sorted(row.order for row in rows)


def test_two_clips_of_one_request_are_to_review_together(demo, keeper):
    (row,) = waiting(keeper, "wystan")
    assert row.action == "Review" and row.headline
    assert row.sentence.count("a swing") == 2
    assert timezone.now() < row.promised_at < timezone.now() + timedelta(hours=48)


def test_the_quiet_student_has_been_asked(demo, keeper):
    (row,) = waiting(keeper, "oda")
    assert "quiet for 19 days" in row.sentence
    assert desk.student_home(who("oda"), user=who("oda").user)["next"].label == "Film it"


def test_a_refused_clip_waits_for_its_student_and_not_for_the_coach(demo, keeper):
    perrin = who("perrin")
    assert state(perrin.submissions.get()) == "refused"
    assert waiting(keeper, "perrin") == []
    assert desk.student_home(perrin, user=perrin.user)["next"].label == "See how to film again"


def test_the_question_about_the_hip_comes_before_any_drill(demo):
    sunniva = who("sunniva")
    question = sunniva.findings.get(kind=Finding.Kind.QUESTION)
    assert question.answered_at is None and question.body_note.region == "hip"
    assert not Assignment.objects.filter(student=sunniva).exists()
    assert desk.student_home(sunniva, user=sunniva.user)["next"].label == "Answer the question"


def test_three_repetitions_wait_for_a_verdict_on_the_second_step(demo, keeper):
    (row,) = waiting(keeper, "brannoc")
    assert row.action == "Judge" and row.attempt.rung.position == 1
    assert len({asked.repetition for asked in row.asked}) == 3
    assert {asked.criterion.measure for asked in row.asked} == {"pelvis_turn_deg", "shaft_aim_deg"}
    assert all(asked.value is not None for asked in row.asked)
    first = row.attempt.rung.assignment.rungs.get(position=0)
    assert first.passed_at is not None


def test_what_was_left_alone_is_due_for_a_new_look(demo, keeper):
    tilda = who("tilda")
    assert Assignment.objects.get(student=tilda).closed_at is not None
    left = tilda.findings.get(kind=Finding.Kind.COMPENSATION)
    assert left.look_again_at is not None
    assert left.words in waiting(keeper, "tilda")[0].sentence


def test_pain_stops_the_drill_and_stands_first(demo, keeper):
    corin = who("corin")
    assert waiting(keeper)[0].student == corin
    assert Assignment.objects.get(student=corin).stopped_at is not None
    assert desk.student_home(corin, user=corin.user)["next"].stop


def test_the_minor_has_a_guardian_who_sees_everything(demo, client_for):
    nell = who("nell")
    (bond,) = nell.guardianships.all()
    assert nell.is_minor and bond.verified_at is not None
    assert {c.given_by for c in nell.consents.all()} == {bond.user}
    page = client_for(bond.user).get(reverse("lessons:thread", args=[nell.pk]))
    assert "on Saturday" in page.content.decode()


def test_what_happened_is_past_and_in_order(demo):
    """Nothing is dated in the future, and nobody answered what was not asked yet."""
    now = timezone.now()
    assert Entry.objects.count() > 20
    for entry in Entry.objects.all():
        assert entry.created_at <= now
    for review in Review.objects.prefetch_related("submissions"):
        for clip in review.submissions.all():
            assert clip.created_at <= review.published_at
    for verdict in Verdict.objects.select_related("attempt__rung__assignment"):
        assert verdict.attempt.rung.assignment.created_at < verdict.created_at
    assert not Run.objects.exclude(status=Run.Status.DONE).exists()


def test_progress_is_a_line_of_more_than_one_point(demo):
    lines = practice.series_of(who("brannoc"))
    assert {line.measure for line in lines} >= {"pelvis_turn_deg", "shaft_aim_deg"}
    assert all(len(line.points) == 2 for line in lines if line.kind == "rehearsal")


@pytest.mark.slow
def test_a_clip_of_the_demo_is_really_measured(db, settings, monkeypatch):
    """The rendered golfer of Corin's clip stands at 21.1 % of his foot's length."""
    settings.ESTIMATOR = "analysis.estimators.MediaPipeEstimator"
    monkeypatch.setattr(story, "PEOPLE", [p for p in story.PEOPLE if p.key == "corin"])
    services.create_demo(say=lambda line: None)
    finding = Finding.objects.get(kind=Finding.Kind.CAUSE)
    assert finding.measure == "balance_pct"
    assert abs(finding.value - 21.1) < 2 * finding.uncertainty
    assert Assignment.objects.get().stopped_at is not None
