"""`manage.py audit`: what does not belong together, why, and with `--remove` what can go."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from analysis import audit


class Command(BaseCommand):
    help = "Explain every orphan row, file and temporary folder; --remove takes away what can go."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--remove", action="store_true", help="remove what is safe to remove")

    def handle(self, *args: Any, **options: Any) -> None:
        left = 0
        for fault in audit.faults():
            gone = options["remove"] and fault.mend is not None
            if gone and fault.mend is not None:
                fault.mend()
            left += not gone
            self.stdout.write(f"{'removed ' if gone else ''}{fault.kind}: {fault.what}")
            self.stdout.write(f"    {fault.why}")
        if left:
            raise SystemExit(1)
        self.stdout.write("Rows and files belong together.")
