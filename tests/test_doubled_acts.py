"""More acts that come eight times at once: each is done once, is written to nobody twice."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db.models import QuerySet
from django.utils import timezone

from analysis.models import Correction, Video
from coaching.intake.models import Submission, Upload
from coaching.intake.services import clips, uploads
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry, PutOff
from coaching.people.errors import LessonError
from coaching.people.models import AuditEntry, Holiday, Student, User
from coaching.people.services import consent, students, tokens
from coaching.people.services import studio as studios
from coaching.practice.models import PainReport
from coaching.practice.services import judging, stopping
from coaching.review.models import Mark
from coaching.review.services import corrections, drafts, marks
from tests import factories
from tests.at_once import at_once
from tests.coaching.practice import making
from tests.coaching.review.clips import make_clip

pytestmark = pytest.mark.django_db(transaction=True)


def trouble(act: Callable[[], Any], times: int = 8) -> list[BaseException]:
    """What `act` raised beside a refusal in words: the second is told so."""
    return [error for error in at_once(act, times) if not isinstance(error, LessonError)]


def entries(student: Student, kind: str) -> QuerySet[Entry]:
    return Entry.objects.filter(thread__student=student, kind=kind)


def _new_link(coach: User, student: Student) -> Any:
    coming = factories.make_student(coach=coach, joined=False, email="coming@example.org")
    factories.make_invitation(student=coming, invited_by=coach)
    return lambda: students.renew_invitation(student=coming, by=coach), coming.invitations.all()


def _holiday(coach: User, student: Student) -> Any:
    day = timezone.localdate()
    return (
        lambda: studios.add_holiday(studio=student.studio, by=coach, starts_on=day, ends_on=day),
        Holiday.objects.all(),
    )


def _key(coach: User, student: Student) -> Any:
    return lambda: tokens.make_token(
        user=coach, name="one program", by_form=True
    ), coach.api_tokens.all()


def _override(coach: User, student: Student) -> Any:
    clip = factories.make_submission(student=student)
    factories.make_run(
        video=clip.video,
        kind="check",
        status="done",
        result={"quality": [{"code": "sideways", "level": "reject"}]},
    )
    return (
        lambda: clips.override_refusal(
            submission=Submission.objects.get(pk=clip.pk), by=student.user, text="It is me."
        ),
        entries(student, "message"),
    )


def _where(coach: User, student: Student) -> Any:
    report = PainReport.objects.create(student=student, region="other")
    return (
        lambda: stopping.locate_pain(
            report=PainReport.objects.get(pk=report.pk), by=student.user, region="hip", urgent=True
        ),
        entries(student, "pain"),
    )


def _statement(coach: User, student: Student) -> Any:
    report = PainReport.objects.create(student=student, region="hip")
    return (
        lambda: stopping.state_professional_agreed(
            report=PainReport.objects.get(pk=report.pk), by=student.user, text="Dr. Reed, Monday."
        ),
        entries(student, "body_noted"),
    )


def _seen(coach: User, student: Student) -> Any:
    report = PainReport.objects.create(student=student, region="hip")
    return (
        lambda: stopping.mark_pain_seen(report=PainReport.objects.get(pk=report.pk), by=coach),
        AuditEntry.objects.filter(act="saw_pain"),
    )


def _check_film(coach: User, student: Student) -> Any:
    assignment = making.make_assignment(review=making.make_review(student=student))
    type(assignment).objects.filter(pk=assignment.pk).update(check_due_on=timezone.localdate())
    return (
        lambda: judging.ask_check_film(
            assignment=type(assignment).objects.get(pk=assignment.pk), by=coach
        ),
        student.requests.all(),
    )


def _of_age(coach: User, student: Student) -> Any:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor)
    factories.make_guardian(student=minor)
    return (
        lambda: consent.declare_of_age(student=Student.objects.get(pk=minor.pk), by=guardian),
        entries(minor, "guardian"),
    )


def _consents(coach: User, student: Student) -> Any:
    consent.withdraw_consents(student=student, by=student.user)
    return (
        lambda: consent.give_consents(
            student=Student.objects.get(pk=student.pk), by=student.user, purposes=["store"]
        ),
        student.consents.filter(withdrawn_at=None),
    )


def _withdrawal(coach: User, student: Student) -> Any:
    return (
        lambda: consent.withdraw_consents(
            student=Student.objects.get(pk=student.pk), by=student.user
        ),
        entries(student, "consent"),
    )


def _put_off(coach: User, student: Student) -> Any:
    until = timezone.now() + timezone.timedelta(days=2)
    return (
        lambda: lessons.put_off(student=student, thing="text-1", until=until, by=coach),
        PutOff.objects.all(),
    )


def _tag(coach: User, student: Student) -> Any:
    return (
        lambda: students.tag_student(student=student, by=coach, label="winter"),
        student.tags.all(),
    )


def _close(coach: User, student: Student) -> Any:
    return (
        lambda: students.close_student(student=Student.objects.get(pk=student.pk), by=coach),
        AuditEntry.objects.filter(act="closed"),
    )


def _correction(coach: User, student: Student) -> Any:
    clip = make_clip(student=student)
    return (
        lambda: corrections.correct(
            video=Video.objects.get(pk=clip.video_id),
            time_s=1.0,
            target="joint:hip_lead",
            value={"x": 0.5, "y": 0.25},
            by=coach,
        ),
        Correction.objects.all(),
    )


NOTE: dict[str, Any] = {"start_s": 0.5, "shape": "ring", "points": [[0.1, 0.2]], "text": "Here"}


def _mark(coach: User, student: Student) -> Any:
    """As a program sends it: without a key."""
    clip = factories.make_submission(student=student)
    draft = drafts.open_draft(submissions=[clip], by=coach)
    return (
        lambda: marks.add_mark(review=draft, by=coach, video=clip.video, **NOTE),
        Mark.objects.all(),
    )


def _marks_moved(coach: User, student: Student) -> Any:
    """One change of one mark, from a window that is behind: one second mark is kept."""
    clip = factories.make_submission(student=student)
    draft = drafts.open_draft(submissions=[clip], by=coach)
    mark = marks.add_mark(review=draft, by=coach, video=clip.video, **NOTE)
    marks.change_mark(mark=mark, by=coach, revision=0, text="There")
    return (
        lambda: marks.change_mark(
            mark=Mark.objects.get(pk=mark.pk), by=coach, revision=0, text="Elsewhere"
        ),
        Mark.objects.all(),
    )


ACTS = {
    "correction": _correction,
    "mark": _mark,
    "mark from a window behind": _marks_moved,
    "new link": _new_link,
    "holiday": _holiday,
    "key": _key,
    "a refused clip all the same": _override,
    "where it hurts": _where,
    "statement": _statement,
    "pain seen": _seen,
    "check film": _check_film,
    "of age": _of_age,
    "consents": _consents,
    "withdrawal": _withdrawal,
    "put off": _put_off,
    "tag": _tag,
    "closed": _close,
}


@pytest.mark.parametrize("name", ACTS)
def test_an_act_that_comes_eight_times_at_once_is_done_once(
    name: str, coach: User, student: Student
) -> None:
    act, rows = ACTS[name](coach, student)
    before = rows.count()
    assert trouble(act) == []
    assert rows.count() - before == 1


def test_no_more_than_ten_uploads_wait_however_they_come(
    student: Student, settings: Any, tmp_path: Any
) -> None:
    settings.UPLOAD_BUFFER = tmp_path
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    assert student.user is not None
    assert (
        trouble(
            lambda: uploads.create_upload(by=student.user, length=9, student=student, angle=angle),
            16,
        )
        == []
    )
    assert Upload.objects.count() == 10
    assert len(list(tmp_path.iterdir())) == 10
