"""A studio from another server."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from coaching.operations import importing
from coaching.people.errors import LessonError


class Command(BaseCommand):
    help = "Bring in a studio that export_studio wrote. Take files only from whom you trust."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            studio, known = importing.import_studio(options["file"])
        except (LessonError, OSError) as error:
            raise CommandError(str(getattr(error, "sentence", error))) from error
        self.stdout.write(f"{studio.name} stands as {studio.slug}.")
        for email in known:
            self.stdout.write(f"{email} had an account here and keeps its password.")
