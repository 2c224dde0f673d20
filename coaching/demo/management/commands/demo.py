"""`manage.py demo`: an invented studio with everything in it; `--remove` takes it away."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from coaching.demo import acts, services


class Command(BaseCommand):
    help = "Create the invented demo studio, list its logins, or remove it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--logins", action="store_true", help="only list who can sign in")
        parser.add_argument("--remove", action="store_true", help="take the demo away again")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["remove"]:
            if not services.remove_demo():
                raise CommandError("There is no demo to remove.")
            self.stdout.write("The demo is gone.")
            return
        if not options["logins"]:
            self._create()
        for role, mail, password in services.logins():
            self.stdout.write(f"{role:<9}  {mail:<28}  {password}")

    def _create(self) -> None:
        if services.demo_studio() is not None:
            raise CommandError("The demo exists already; `manage.py demo --remove` takes it away.")
        self.stdout.write(
            "Creating the demo; its clips are measured now, which takes a few minutes."
        )
        try:
            services.create_demo(say=self.stdout.write)
        except BaseException as error:
            # Half a demo would tell half-truths; nothing else was touched.
            services.remove_demo()
            if isinstance(error, acts.DemoFailed):
                raise CommandError(str(error)) from None
            raise
