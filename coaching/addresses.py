"""Full addresses of our own pages, for letters, links that are handed on, and calendars.

They lead to `SITE_URL`, whatever host was asked: whoever asks names that host.
"""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse


def on_site(path: str) -> str:
    """The full address of a path of ours."""
    return f"{settings.SITE_URL}{path}"


def page(name: str, *args: object) -> str:
    """The full address of a page, by its name and what stands in its path."""
    return on_site(reverse(name, args=args))
