"""A studio that moves to another server arrives whole, whatever numbers are taken there."""

from __future__ import annotations

import ast
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.test import Client

from analysis import audit
from analysis.models import LooseFile, Video
from coaching.diagnosis.models import Plan
from coaching.lessons.models import PutOff
from coaching.operations import exporting, importing, moving
from coaching.people import audit as log
from coaching.people.errors import LessonError
from coaching.people.models import AuditEntry, Student, Studio, User
from coaching.review.models import WalkThrough
from tests import factories
from tests.world import World, make_world

pytestmark = pytest.mark.django_db
Rows = dict[str, list[dict[str, Any]]]


@pytest.fixture(autouse=True)
def own_folder(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def world() -> World:
    """One of everything, and numbers inside JSON wherever there can be some."""
    world = make_world()
    student = Student.objects.get(pk=world.ids["student"])
    for kind, label in moving.THINGS.items():
        model = moving.apps.get_model(label)
        row = model._base_manager.order_by("pk").last()
        PutOff.objects.create(student=student, thing=f"{kind}-{row.pk}", until="2030-01-01T00:00Z")
    Plan.objects.update_or_create(
        review_id=world.ids["review"], defaults={"order": [world.ids["finding"]]}
    )
    WalkThrough.objects.filter(pk=world.ids["walk"]).update(
        events=[{"t": 0.5, "do": "clip", "value": world.ids["video"]}, {"t": 1, "do": "frame"}]
    )
    log.saw(log.Act.SAW_FILM, by=world.people["owner"], student=student, video=world.ids["video"])
    return world


def studio_of(world: World) -> Studio:
    return Studio.objects.get(pk=world.ids["studio"])


def exported(studio: Studio) -> bytes:
    out = io.BytesIO()
    exporting.export_studio(studio, out)
    return out.getvalue()


def rows_of(archive: bytes) -> tuple[Rows, dict[str, str]]:
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        about = json.loads(opened.read("studio.json"))
        rows = {
            Path(name).stem: [json.loads(line) for line in opened.open(name)]
            for name in opened.namelist()
            if name.startswith("rows/")
        }
    return rows, about["files"]


def without_numbers(archive: bytes) -> tuple[Rows, list[str]]:
    """The rows with each number replaced by its place among its kind: equal in every place."""
    rows, sums = rows_of(archive)
    place = {
        label: {row[key]: n for n, row in enumerate(some)}
        for label, some in rows.items()
        for key in [moving.apps.get_model(label)._meta.pk.attname]
    }

    def number(label: str, pk: Any) -> Any:
        return place.get(label, {}).get(pk)

    plain: Rows = {}
    for label, some in rows.items():
        key = moving.apps.get_model(label)._meta.pk
        plain[label] = [moving.renumbered(label, row, number) for row in some]
        for n, row in enumerate(plain[label]):
            row[key.attname] = n
            for name, value in row.items():
                if isinstance(value, str) and value in sums:
                    row[name] = sums[value]
    return plain, sorted(sums.values())


def clear_away(world: World) -> None:
    """As on a server that has never seen this studio; numbers are not given out again."""
    Student.objects.filter(studio=world.ids["studio"]).delete()
    Studio.objects.filter(pk=world.ids["studio"]).delete()
    for video in Video.objects.all():
        for file in (video.original, video.copy, video.still):
            if file:
                default_storage.delete(file.name)
        video.delete()
    User.objects.all().delete()


def test_a_studio_arrives_whole_under_other_numbers(world: World) -> None:
    studio = studio_of(world)
    before = exported(studio)
    clear_away(world)
    factories.make_submission()  # numbers here are somebody else's

    arrived, known = importing.import_studio(io.BytesIO(before))

    assert known == [] and arrived.pk != studio.pk
    after = exported(arrived)
    assert without_numbers(after) == without_numbers(before)
    old, new = rows_of(before)[0], rows_of(after)[0]
    assert len(old) >= 40 and {row["id"] for row in old["people.student"]}.isdisjoint(
        row["id"] for row in new["people.student"]
    )
    assert not LooseFile.objects.exists()
    assert [f for f in audit.faults() if "nobody" not in f.kind] == []


def test_its_people_sign_in_and_see_their_lessons(world: World) -> None:
    coach = world.people["coach"]
    assert coach is not None
    before = exported(studio_of(world))
    clear_away(world)
    importing.import_studio(io.BytesIO(before))
    client = Client()
    assert client.login(email=coach.email, password=factories.PASSWORD)
    student = Student.objects.get(name="Jo")
    assert client.get(f"/students/{student.pk}/thread/").status_code == 200
    assert client.get("/waiting/").status_code == 200


def test_an_account_that_is_here_stays_as_it_is(world: World) -> None:
    coach = world.people["coach"]
    assert coach is not None
    before = exported(studio_of(world))
    clear_away(world)
    mine = factories.make_user(email=coach.email, password="another quiet one", is_staff=True)
    arrived, known = importing.import_studio(io.BytesIO(before))
    assert known == [coach.email]
    assert arrived.memberships.get(user=mine).role == "coach"
    mine.refresh_from_db()
    assert mine.check_password("another quiet one")
    assert not User.objects.filter(is_staff=True).exclude(pk=mine.pk).exists()


def test_nobody_becomes_an_administrator_by_a_file(world: World) -> None:
    User.objects.filter(pk=world.people["coach"].pk).update(  # type: ignore[union-attr]
        is_staff=True, is_superuser=True
    )
    before = exported(studio_of(world))
    clear_away(world)
    importing.import_studio(io.BytesIO(before))
    assert not User.objects.filter(is_staff=True).exists()
    assert not User.objects.filter(is_superuser=True).exists()


def test_it_comes_once(world: World) -> None:
    before = exported(studio_of(world))
    with pytest.raises(LessonError, match="here already"):
        importing.import_studio(io.BytesIO(before))


def damaged(archive: bytes, change: Any) -> io.BytesIO:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            if (content := change(name, old.read(name))) is not None:
                new.writestr(name, content)
    out.seek(0)
    return out


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda name, b: None if name == "studio.json" else b, "no whole studio"),
        (lambda name, b: b"x" if name.startswith("files/copy") else b, "damaged"),
        (lambda name, b: None if name.startswith("files/copy") else b, "no whole studio"),
        (lambda name, b: None if name == "rows/people.user.jsonl" else b, "no whole studio"),
        (lambda name, b: b.replace(b'"schema": 1', b'"schema": 9'), "another version"),
    ],
)
def test_half_a_studio_leaves_nothing_behind(world: World, change: Any, said: str) -> None:
    before = exported(studio_of(world))
    clear_away(world)
    with pytest.raises(LessonError, match=said):
        importing.import_studio(damaged(before, change))
    assert not Studio.objects.filter(name=studio_name(before)).exists()
    assert not LooseFile.objects.exists()
    names = set(rows_of(before)[1])
    assert [name for name in names if "copy" in name and default_storage.exists(name)] == []


def studio_name(archive: bytes) -> str:
    return str(rows_of(archive)[0]["people.studio"][0]["name"])


def test_a_number_that_nobody_declared_stops_the_export(world: World) -> None:
    entry = Student.objects.get(pk=world.ids["student"]).thread.entries.latest("pk")
    entry.refs = {"novelty": 3}
    entry.save()
    with pytest.raises(LookupError, match="novelty"):
        exported(studio_of(world))


def test_what_the_log_says_of_those_who_left_names_nobody_else(world: World) -> None:
    gone = factories.make_student(studio=studio_of(world), coach=world.people["coach"])
    log.write(log.Act.CHANGED, by=gone.user, student=gone)
    pk = gone.pk
    gone.delete()
    before = exported(studio_of(world))
    clear_away(world)
    arrived, _known = importing.import_studio(io.BytesIO(before))
    row = AuditEntry.objects.filter(studio_id=arrived.pk, act=log.Act.CHANGED).get()
    assert row.student_id is None and pk


def test_every_number_that_a_service_writes_into_json_is_declared() -> None:
    """Read from the source, because no test makes every entry there can be."""
    writers = {"record", "notify", "notify_once", "write", "saw"}
    own = {"student", "kind", "author", "text", "by", "studio"}
    told = set()
    for path in (live.BASE_DIR / "coaching").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "attr", getattr(node.func, "id", ""))
                for word in node.keywords if name in writers else ():
                    value = ast.unparse(word.value)
                    if word.arg not in own and re.search(r"\.pk\b|_id\b|_pk\b", value):
                        told.add(word.arg)
    assert len(told) > 8 and told <= set(moving.REFERENCES)
    for label in {*moving.REFERENCES.values(), *moving.THINGS.values(), *moving.OF_ACCOUNTS}:
        moving.apps.get_model(label)


def test_commands(world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    studio, file = studio_of(world), tmp_path / "studio.zip"
    call_command("export_studio", studio.slug, str(file))
    assert file.stat().st_mode & 0o777 == 0o600
    with pytest.raises(CommandError, match="there already"):
        call_command("export_studio", studio.slug, str(file))
    with pytest.raises(CommandError, match="No studio nowhere; there are"):
        call_command("export_studio", "nowhere", str(tmp_path / "b.zip"))
    with pytest.raises(CommandError, match="here already"):
        call_command("import_studio", str(file))
    clear_away(world)
    call_command("import_studio", str(file))
    assert f"{studio.name} stands as {studio.slug}." in capsys.readouterr().out
