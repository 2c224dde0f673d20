"""After a backup came back: erase those who were erased since it was made."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from coaching.people.models import Student
from coaching.people.services import record


class Command(BaseCommand):
    help = "Erase students by number for good, as the security log names them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("students", type=int, nargs="+", metavar="NUMBER")

    def handle(self, *args: Any, **options: Any) -> None:
        for pk in options["students"]:
            student = Student.objects.filter(pk=pk).first()
            if student is None:
                self.stdout.write(f"{pk}: nobody has this number; nothing to erase.")
                continue
            record.erase_record(student=student, by=None)
            self.stdout.write(f"{pk}: erased.")
