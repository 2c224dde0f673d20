"""A studio's file that somebody has written by hand: it brings in its own, and nothing else."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from coaching.operations import importing, moving
from coaching.people.errors import LessonError
from coaching.people.models import Letter, Studio
from tests import factories
from tests.coaching.operations.test_moving import clear_away, exported, rows_of
from tests.world import make_world

pytestmark = pytest.mark.django_db
Change = Callable[[dict[str, list[dict[str, Any]]], dict[str, Any]], None]


@pytest.fixture
def archive(settings: Any, tmp_path: Path) -> bytes:
    """The file of a studio that is gone from here."""
    settings.MEDIA_ROOT = tmp_path / "media"
    world = make_world()
    whole = exported(Studio.objects.get(pk=world.ids["studio"]))
    clear_away(world)
    return whole


def rewritten(archive: bytes, change: Change, *, packed: bool = False) -> io.BytesIO:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old:
        rows, _sums = rows_of(archive)
        about = json.loads(old.read("studio.json"))
        change(rows, about)
        kind = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        with zipfile.ZipFile(out, "w", kind) as new:
            for name in old.namelist():
                if name.startswith("files/"):
                    new.writestr(name, old.read(name))
            for label, some in rows.items():
                lines = "".join(json.dumps(row) + "\n" for row in some)
                new.writestr(f"rows/{label}.jsonl", lines)
            new.writestr("studio.json", json.dumps(about))
    out.seek(0)
    return out


def test_one_that_nobody_changed_comes_in(archive: bytes) -> None:
    studio, _known = importing.import_studio(rewritten(archive, lambda rows, about: None))
    assert studio.students.exists()


SECRET = "original/2026/01/somebody-elses.mp4"


def _names_a_file_of_others(rows: Any, about: Any) -> None:
    rows["analysis.video"][0]["original"] = SECRET


def _names_it_among_its_own(rows: Any, about: Any) -> None:
    _names_a_file_of_others(rows, about)
    about["files"][SECRET] = "0" * 64


def _leads_out(rows: Any, about: Any) -> None:
    rows["analysis.video"][0]["original"] = "../../secret_key"
    about["files"]["../../secret_key"] = "0" * 64


def _brings_a_letter(rows: Any, about: Any) -> None:
    rows["people.letter"] = [{"id": 1, "to": "a@example.org", "subject": "s", "body": "b",
                              "created_at": "2026-01-01T00:00Z", "attempts": 0,
                              "retry_at": "2026-01-01T00:00Z"}]  # fmt: skip


def _brings_a_session(rows: Any, about: Any) -> None:
    rows["sessions.session"] = [{"session_key": "x", "session_data": "", "expire_date": None}]


def _brings_a_second_studio(rows: Any, about: Any) -> None:
    rows["people.studio"].append(rows["people.studio"][0] | {"id": 99, "slug": "other"})


def _says_nonsense(rows: Any, about: Any) -> None:
    rows["people.student"][0]["stature_cm"] = "tall"


def _says_too_much(rows: Any, about: Any) -> None:
    rows["people.student"][0]["stature_cm"] = 1e300


def _lacks_a_column(rows: Any, about: Any) -> None:
    del rows["people.student"][0]["name"]


def _has_a_column_of_its_own(rows: Any, about: Any) -> None:
    rows["people.student"][0]["novelty"] = 1


def _is_a_list(rows: Any, about: Any) -> None:
    rows["people.student"] = [["a"]]  # type: ignore[list-item]


@pytest.mark.parametrize(
    "change",
    [_names_a_file_of_others, _names_it_among_its_own, _leads_out, _brings_a_letter,
     _brings_a_session, _brings_a_second_studio, _says_nonsense, _says_too_much, _lacks_a_column,
     _has_a_column_of_its_own, _is_a_list],
)  # fmt: skip
def test_what_was_written_by_hand_is_refused_in_a_sentence(change: Change, archive: bytes) -> None:
    default_storage.save(SECRET, ContentFile(b"a film of another studio"))
    studios = Studio.objects.count()
    with pytest.raises(LessonError):
        importing.import_studio(rewritten(archive, change))
    assert Studio.objects.count() == studios
    assert not Letter.objects.exists()
    with default_storage.open(SECRET) as film:
        assert film.read() == b"a film of another studio"


def test_a_packed_file_is_not_unpacked(archive: bytes) -> None:
    with pytest.raises(LessonError, match="packed"):
        importing.import_studio(rewritten(archive, lambda rows, about: None, packed=True))


def test_the_kinds_of_a_studio_are_those_that_it_exports(archive: bytes) -> None:
    rows, _sums = rows_of(archive)
    assert rows.keys() <= moving.kinds()
    assert not moving.kinds() & moving.LEFT_BEHIND
    factories.make_user()
    assert "sessions.session" not in moving.kinds() and "people.letter" not in moving.kinds()
