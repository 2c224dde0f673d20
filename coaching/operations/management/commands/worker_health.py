"""Whether the worker of this machine answers: for the health check of a container."""

from __future__ import annotations

import socket
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from kombu.exceptions import OperationalError

from coaching.celery import app


class Command(BaseCommand):
    help = (
        "Ask this machine's workers whether they are there, through the broker; fails when none "
        "answers, or when the named one (as in --hostname NAME@%h) does not."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", nargs="?", default="", help="post, checks or films")
        parser.add_argument("--timeout", type=float, default=5.0, help="seconds to wait")

    def handle(self, *args: Any, **options: Any) -> None:
        here = f"@{socket.gethostname()}"
        wanted = [options["name"] + here] if options["name"] else None
        try:
            answers = app.control.ping(destination=wanted, timeout=options["timeout"])
        except (OperationalError, OSError) as error:
            raise CommandError("The broker does not answer.") from error
        alive = sorted(name for answer in answers or () for name in answer if name.endswith(here))
        if not alive:
            raise CommandError(f"No worker {wanted[0] if wanted else here} answers.")
        self.stdout.write(f"{', '.join(alive)}: alive.")
