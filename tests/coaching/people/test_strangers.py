"""Nobody sees what is not theirs: a stranger's object is a 404, whatever the method."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import get_resolver, reverse

from coaching.people.models import Student, User
from tests import factories

OPEN = {"setup", "join"}
OWN = {"start", "profile", "tokens", "token_remove", "invite"}  # name nobody's object


def _names() -> list[str]:
    patterns = get_resolver("coaching.people.urls").url_patterns
    return sorted({p.name for p in patterns} - OPEN - OWN)


@pytest.mark.parametrize("name", _names())
def test_stranger_and_anonymous(
    name: str, student: Student, coach: User, stranger: User, client_for
) -> None:
    studio = coach.memberships.get().studio
    pattern = next(p for p in get_resolver("coaching.people.urls").url_patterns if p.name == name)
    values = {
        "pk": studio.pk if str(pattern.pattern).startswith("studio/") else student.pk,
        "note": 1,
        "member": coach.memberships.get().pk,
        "holiday": 1,
    }
    kwargs = {key: values[key] for key in pattern.pattern.converters}
    page = reverse(f"people:{name}", kwargs=kwargs)
    other_student = factories.make_student(coach=stranger).user
    before = Student.objects.get(pk=student.pk)
    for user in (stranger, other_student):
        client = client_for(user)
        assert 404 in {client.get(page).status_code, client.post(page).status_code}
        assert client.get(page).status_code in {404, 405}
        assert client.post(page).status_code in {404, 405}
    for answer in (Client().get(page), Client().post(page)):
        assert answer.status_code in {302, 405} and "/login/" in answer.get("Location", "/login/")
    after = Student.objects.get(pk=student.pk)
    assert before.__dict__.keys() == after.__dict__.keys()
    assert after.coach == coach and after.closed_at is None


@pytest.mark.parametrize("name", sorted(OWN - {"token_remove"}))
def test_own_pages_ask_to_sign_in(name: str, db: None, client: Client) -> None:
    assert "/login/" in client.get(reverse(f"people:{name}")).url
