"""The key with which this server signs its notifications to phones and computers."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from coaching.notify import pushing


class Command(BaseCommand):
    help = "Make a private key for PUSH_PRIVATE_KEY. Keep it: with another, everybody asks anew."

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PUSH_PRIVATE_KEY:
            self.stderr.write(
                "This server has a key. With another one its notifications reach nobody."
            )
        self.stdout.write(f"PUSH_PRIVATE_KEY={pushing.new_key()}")
