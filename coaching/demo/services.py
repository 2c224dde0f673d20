"""Build the demo through the same services that people use, and take it away again.

Clips are measured for real. What happened "last week" is done now and then moved back in
time as a whole, so that nothing is written that a person could not have written.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction
from django.db.models import F
from django.test.utils import override_settings

from analysis import files
from coaching.demo import story
from coaching.demo.acts import Say
from coaching.demo.courses import LESSONS
from coaching.demo.story import Person
from coaching.lessons.models import Entry
from coaching.people.accounts import prove_address
from coaching.people.models import Consent, Invitation, Student, Studio, User
from coaching.people.services import consent, joining, record, students
from coaching.people.services.studio import create_studio, invite_member, join_studio
from coaching.practice.services import library
from coaching.review.services import habits

logger = logging.getLogger("analysis.services")


def demo_studio() -> Studio | None:
    return Studio.objects.filter(is_demo=True).first()


def logins() -> list[tuple[str, str, str]]:
    """Who can sign in to the demo: role, address, password."""
    studio = demo_studio()
    if studio is None:
        return []
    rows = [("coach", story.COACH[1]), ("colleague", story.COLLEAGUE[1])]
    rows += [("student", person.email) for person in story.PEOPLE]
    rows += [("guardian", p.guardian[1]) for p in story.PEOPLE if p.guardian]
    known = set(User.objects.values_list("email", flat=True))
    return [(role, mail, story.PASSWORD) for role, mail in rows if mail in known]


def remove_demo() -> bool:
    """Take the demo away: its studio, students, clips and accounts, nothing else."""
    studio = demo_studio()
    if studio is None:
        return False
    for student in studio.students.all():
        record.erase_record(student=student, by=None)
    mails = [mail for _role, mail, _password in logins()]
    with transaction.atomic():
        files.let_go(str(studio.logo.name or ""))
        studio.delete()
        User.objects.filter(email__in=mails).delete()
    return True


@contextmanager
def _own_worker() -> Iterator[None]:
    """The demo does a worker's work itself, so a queue that is away is no news."""
    level = logger.level
    logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        logger.setLevel(level)


@override_settings(EMAIL_BACKEND="django.core.mail.backends.dummy.EmailBackend")
@_own_worker()
def create_demo(*, say: Say) -> Studio:
    """Found the studio and live through everybody's lessons. Measures for a few minutes.

    Raises
    ------
    DemoFailed
        When a clip could not be measured.
    """
    coach = joining.open_account(name=story.COACH[0], email=story.COACH[1], password=story.PASSWORD)
    prove_address(coach)
    studio = create_studio(name=story.STUDIO, owner=coach, is_demo=True)
    colleague = joining.open_account(
        name=story.COLLEAGUE[0], email=story.COLLEAGUE[1], password=story.PASSWORD
    )
    door = invite_member(studio=studio, by=coach, email=colleague.email, role="coach")
    join_studio(invitation=door, user=colleague)
    library.load_starter_library(by=coach, studio=studio)
    for title, text in story.SNIPPETS:
        habits.add_snippet(by=coach, studio=studio, title=title, text=text)
    for person in story.PEOPLE:
        say(f"{person.name} …")
        LESSONS[person.key](_join(studio, coach, person), coach)
    # Nobody needs letters about what happened before the demo was opened.
    Entry.objects.filter(thread__student__studio=studio).update(notified_at=F("created_at"))
    return studio


def _join(studio: Studio, coach: User, person: Person) -> Student:
    """Somebody opens the invitation on a phone and answers what is asked, body first."""
    door = students.invite_student(studio=studio, by=coach, name=person.name, email=person.email)
    user = joining.open_account(name=person.name, email=person.email, password=story.PASSWORD)
    prove_address(user)
    student = joining.join_student(invitation=door, user=user, is_minor=person.guardian is not None)
    speaks = _guardian(student, user, person) if person.guardian else user
    student.refresh_from_db()
    notes = [dict(zip(("region", "side", "kind", "text"), row, strict=True)) for row in person.body]
    joining.note_body(student=student, by=user, notes=notes)
    joining.describe_student(
        student=student,
        by=user,
        handedness=person.handedness,
        stature_cm=person.stature_cm,
        age_band=person.age_band,
        goals=person.goals,
        usual_miss=person.usual_miss,
        flight=person.flight,
        height=person.height,
        strike=person.strike,
        practice_place=person.place,
    )
    consent.give_consents(student=student, by=speaks, purposes=Consent.Purpose.values)
    joining.finish_joining(student=student, by=speaks)
    student.refresh_from_db()
    return student


def _guardian(student: Student, user: User, person: Person) -> User:
    """The guardian opens the link sent to their own contact and agrees."""
    assert person.guardian is not None
    name, email = person.guardian
    door: Invitation = consent.name_guardian(student=student, by=user, name=name, email=email)
    guardian = joining.open_account(name=name, email=email, password=story.PASSWORD)
    consent.agree_as_guardian(invitation=door, user=guardian, purposes=Consent.Purpose.values)
    return guardian
