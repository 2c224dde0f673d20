"""A whole studio as one file, for another server."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from coaching.operations import exporting
from coaching.people.models import Studio


class Command(BaseCommand):
    help = (
        "Write a studio with its people, lessons and films to one file, which only you can read. "
        "It holds what lets its people sign in: keep it like the database."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("slug", help="the studio's short name")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        studio = Studio.objects.filter(slug=options["slug"]).first()
        if studio is None:
            known = ", ".join(Studio.objects.order_by("slug").values_list("slug", flat=True))
            raise CommandError(f"No studio {options['slug']}; there are: {known or 'none'}.")
        target: Path = options["file"]
        try:
            handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            raise CommandError(f"{target} is there already.") from None
        try:
            with os.fdopen(handle, "wb") as out:
                counts = exporting.export_studio(studio, out)
        except BaseException:
            target.unlink()  # half a studio is none
            raise
        told = f"{sum(counts.values())} rows, {counts['people.user']} people"
        self.stdout.write(f"{studio.name} is in {target}: {told}.")
