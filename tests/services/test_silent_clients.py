"""One person's silent uploads hold two threads of the web process and no more."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings

from coaching.intake.services import uploads as uploads_services
from coaching.people.models import Student
from coaching.people.services.tokens import make_token
from tests import factories
from tests.services import silent
from tests.services.conftest import database_url, wait_until


def test_silent_uploads_of_one_student_do_not_stop_the_site(
    transactional_db: None, student: Student, tmp_path: Path
) -> None:
    assert student.user is not None
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    var = Path(settings.VAR_DIR)
    uploads = [
        uploads_services.create_upload(by=student.user, length=10**6, student=student, angle=angle)
        for _ in range(6)
    ]
    _row, token = make_token(user=student.user, name="a phone")
    with silent.web(silent.environment(database_url(), var), threads=8) as port:
        wait_until(lambda: silent.answers(port, patience_s=2))
        held = [silent.silent_patch(port, uploads[k % 6].pk, token) for k in range(40)]
        assert silent.answers(port)
        for sock in held:
            sock.close()
