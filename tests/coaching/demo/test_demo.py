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

from analysis import files as stored
from analysis import work
from analysis.errors import UnreadableVideo
from analysis.models import Run
from coaching.dashboard import queries as dashboard
from coaching.dashboard import rows as waits
from coaching.demo import acts, courses, services, story
from coaching.diagnosis import queries as diagnosis
from coaching.diagnosis import suggestions
from coaching.diagnosis.catalogue import whole
from coaching.diagnosis.models import Finding
from coaching.diagnosis.suggest import suggest
from coaching.intake.models import Submission
from coaching.intake.queries import state
from coaching.lessons.models import Entry
from coaching.people import access, audit
from coaching.people.models import AuditEntry, Student, Studio, User
from coaching.practice.models import Assignment, Verdict
from coaching.practice.queries import judged
from coaching.practice.queries import progress as progress_queries
from coaching.review.models import Review
from tests import factories

Rows = dict[str, dict[Any, dict[str, Any]]]


def every_row() -> Rows:
    """What the database holds, by model and key, but for the log.

    Nobody can take anything out of the log, the demo neither: an entry outlives the rows it
    names. `test_the_log_only_grows` holds what the demo may do there.
    """
    return {
        model._meta.label: {
            row["pk"]: row for row in model._base_manager.values("pk", *_columns(model))
        }
        for model in apps.get_models()
        if model is not AuditEntry
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


def waiting(keeper: User, key: str | None = None) -> list[waits.Row]:
    rows = waits.waiting_list(access.students_taught(keeper))
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
    assert stored.sweep() == 0
    assert every_row() == rows
    assert files() == kept


def test_the_log_only_grows(quick_worker, student):
    """What was written of others stays, and what the demo adds is of the demo's people."""
    audit.write(audit.Act.CHANGED, by=student.user, student=student, fields=["goals"])
    before = list(AuditEntry.objects.order_by("pk").values())
    run()
    demo = set(Student.objects.filter(studio__is_demo=True).values_list("pk", flat=True))
    run("--remove")
    after = list(AuditEntry.objects.order_by("pk").values())
    assert after[: len(before)] == before
    assert {row["student_id"] for row in after[len(before) :]} <= demo | {None}


def test_a_second_demo_is_refused_and_leaves_the_first(demo):
    rows = every_row()
    with pytest.raises(CommandError, match="exists already"):
        run()
    assert every_row() == rows


def test_what_breaks_half_way_leaves_no_half_demo(quick_worker, monkeypatch, student):
    def breaks(student: Student, coach: User) -> None:
        raise RuntimeError("the tide came in")

    rows = every_row()
    monkeypatch.setitem(courses.LESSONS, "perrin", breaks)
    with pytest.raises(RuntimeError):
        run()
    stored.sweep()  # the notes of files that went, which else go with the commit
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
        sent = client.post(reverse("account_login"), {"login": address, "password": password})
        assert sent.status_code == 302, address


def test_without_a_demo_no_login_is_listed(db):
    assert run("--logins") == ""


def test_nobody_is_written_to(demo):
    assert mail.outbox == []
    assert not Entry.objects.filter(notified_at=None).exists()


def test_the_clips_stay_small():
    clips = list(acts.CLIPS.glob("*.mp4"))
    assert sum(clip.stat().st_size for clip in clips) < 5_000_000


def test_a_clip_that_cannot_be_measured_is_named_and_leaves_no_demo(quick_worker, monkeypatch):
    def broken(row: Run, progress: Any) -> Any:
        raise UnreadableVideo("not a film")

    monkeypatch.setitem(work.WORK, Run.Kind.COPY, broken)
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
    assert [row.thing.order for row in rows] == sorted(row.thing.order for row in rows)


def test_two_clips_of_one_request_are_to_review_together(demo, keeper):
    (row,) = waiting(keeper, "wystan")
    assert row.action == "Review" and row.what
    assert row.sentence.count("a swing") == 2
    assert timezone.now() < row.promised_at < timezone.now() + timedelta(hours=48)


def test_the_quiet_student_has_been_asked(demo, keeper):
    (row,) = waiting(keeper, "oda")
    assert "quiet for 19 days" in row.sentence
    assert dashboard.student_home(who("oda"), who("oda").user)["next"].label == "Film it"


def test_a_refused_clip_waits_for_its_student_and_not_for_the_coach(demo, keeper):
    perrin = who("perrin")
    assert state(perrin.submissions.get()) == "refused"
    assert waiting(keeper, "perrin") == []
    assert dashboard.student_home(perrin, perrin.user)["next"].label == "See how to film again"


def test_the_question_about_the_hip_comes_before_any_drill(demo):
    sunniva = who("sunniva")
    question = sunniva.findings.get(kind=Finding.Kind.QUESTION)
    assert question.answered_at is None and question.body_note.region == "hip"
    assert not Assignment.objects.filter(student=sunniva).exists()
    assert dashboard.student_home(sunniva, sunniva.user)["next"].label == "Answer the question"


def test_three_repetitions_wait_for_a_verdict_on_the_second_step(demo, keeper):
    (row,) = waiting(keeper, "brannoc")
    assert row.action == "Judge" and row.attempt.step.position == 1
    (clip,) = row.clips
    wanted = judged.measured_against_asked([clip])[clip.pk]
    assert len({asked.repetition for asked in wanted}) == 3
    assert {asked.criterion.measure for asked in wanted} == {"pelvis_turn_deg", "shaft_aim_deg"}
    assert all(asked.value is not None for asked in wanted)
    first = row.attempt.step.assignment.steps.get(position=0)
    assert first.passed_at is not None


def test_what_was_left_alone_is_due_for_a_new_look(demo, keeper):
    tilda = who("tilda")
    assert Assignment.objects.get(student=tilda).closed_at is not None
    left = tilda.findings.get(kind=Finding.Kind.COMPENSATION)
    assert left.look_again_at is not None
    assert left.text in waiting(keeper, "tilda")[0].sentence


def test_pain_stops_the_drill_and_stands_first(demo, keeper):
    corin = who("corin")
    assert waiting(keeper)[0].student == corin
    assert Assignment.objects.get(student=corin).stopped_at is not None
    assert dashboard.student_home(corin, corin.user)["next"].stop


def test_the_minor_has_a_guardian_who_sees_everything(demo, client_for):
    nell = who("nell")
    (bond,) = nell.guardianships.all()
    assert nell.is_minor and bond.verified_at is not None
    assert {c.given_by for c in nell.consents.all()} == {bond.user}
    page = client_for(bond.user).get(reverse("thread", args=[nell.pk]))
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
    answered = Submission.objects.exclude(answered_at=None)
    assert answered.count() == 6
    for clip in answered:
        assert timedelta(hours=8) < clip.answered_at - clip.created_at < timedelta(hours=48)
    for verdict in Verdict.objects.select_related("attempt__step__assignment"):
        assert verdict.attempt.step.assignment.created_at < verdict.created_at
    assert not Run.objects.exclude(status=Run.Status.DONE).exists()


def test_progress_is_a_line_of_more_than_one_point(demo):
    lines = progress_queries.series_of(who("brannoc"))
    assert {line.measure for line in lines} >= {"pelvis_turn_deg", "shaft_aim_deg"}
    assert all(len(line.points) == 2 for line in lines if line.kind == "rehearsal")


def seen_in(finding: Finding) -> set[str]:
    """The entries that the figures of a finding's own clips suggest, whatever was taken."""
    clips = finding.review.submissions.all()
    readings = {key: reading for key, (reading, _row) in suggestions.figures_of(clips).items()}
    player = suggestions.player_of(finding.student, clips)
    return {s.entry.id for s in suggest(readings, catalogue=whole(), player=player)}


def test_the_story_is_what_the_engine_says(demo):
    """Every finding with an entry was suggested by its clip, or is said to be seen by eye."""
    told = Finding.objects.exclude(entry="")
    assert {finding.entry for finding in told} >= {
        "little-hip-turn",
        "steep-coming-down",
        "early-extension",
        "loss-of-posture",
        "strike-thin",
    }
    for finding in told.exclude(kind__in=["ball", "question"]):
        assert finding.is_by_eye or finding.entry in seen_in(finding), finding.entry
    eyes = {finding.entry for finding in told if finding.is_by_eye and finding.kind == "cause"}
    assert eyes == set(), "the story's causes are what the figures say"


def test_the_chain_of_the_story_ends_in_the_ball(demo):
    standing = diagnosis.diagnosis_of(who("brannoc"))
    assert [line.finding.entry for line in standing.ball] == ["strike-thin"]
    assert standing.ball[0].causes
    told = diagnosis.sentences(standing)
    assert told[0] == "Your hips barely turn in the backswing. We start here."
    assert any(
        line.startswith("You catch the ball thin with the bottom edge of the club because ")
        for line in told
    )


@pytest.mark.slow
def test_the_clips_of_the_story_really_say_it(db, settings, monkeypatch):
    """Measured for real: the body's answer to little turn is read in the clip, not seen by eye."""
    settings.ESTIMATOR = "analysis.estimators.MediaPipeEstimator"
    people = [p for p in story.PEOPLE if p.key in ("brannoc", "tilda", "sunniva")]
    monkeypatch.setattr(story, "PEOPLE", people)
    services.create_demo(say=lambda line: None)
    assert Finding.objects.filter(entry="early-extension").get().value > 5


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
