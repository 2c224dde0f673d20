"""`manage.py drills import FILE --studio SLUG`, `drills export --studio SLUG`, `drills starter`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from coaching.people.errors import LessonError
from coaching.people.models import Studio
from coaching.practice import drills
from coaching.practice.queries import ladders
from coaching.practice.services import library


class Command(BaseCommand):
    help = "Take drills of a file into a studio's library, or write them out (docs/drills.md)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=["import", "export", "starter"])
        parser.add_argument("file", nargs="?", help="the file; standard output for export")
        parser.add_argument("--studio", required=True, help="the studio's slug")

    def handle(self, *args: Any, what: str, file: str | None, studio: str, **options: Any) -> None:
        row = Studio.objects.filter(slug=studio).first()
        if row is None:
            raise CommandError(f"There is no studio {studio}.")
        if what == "export":
            text = drills.as_json(list(ladders.library([row.pk])))
            if file:
                Path(file).write_text(text, encoding="utf-8")
            else:
                self.stdout.write(text, ending="")
            return
        if what == "import" and not file:
            raise CommandError("Name the file to import.")
        try:
            path = drills.STARTER_PATH if what == "starter" else Path(file or "")
            text_in = path.read_bytes()
            counts = library.import_drills(by=None, studio=row, text=text_in)
        except OSError as error:
            raise CommandError(f"{file}: {error.strerror}.") from None
        except LessonError as error:
            raise CommandError(error.sentence) from None
        self.stdout.write(", ".join(f"{count} {word}" for word, count in counts.items()))
