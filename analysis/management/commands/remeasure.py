"""`manage.py remeasure`: measure old clips again, in the background, after an upgrade."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from analysis import PIPELINE_VERSION, services


class Command(BaseCommand):
    help = (
        "Ask for every clip that an earlier version measured to be measured by this one. The"
        " worker takes them up one at a time, when nothing else waits; until then they stand"
        " outside of lines and comparisons."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--limit", type=int, help="at most so many clips, the newest first")

    def handle(self, *args: Any, limit: int | None, **options: Any) -> None:
        count = services.remeasure_old(limit=limit)
        self.stdout.write(f"{count} clips wait for version {PIPELINE_VERSION} in the background.")
