"""What pages of people ask beside their context."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django import template
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from coaching import addresses
from coaching.people import queries
from coaching.people.purposes import WORDING
from coaching.people.zones import moment_words

register = template.Library()
register.simple_tag(addresses.page, name="full_address")


@register.simple_tag(takes_context=True)
def setup_is_open(context: dict[str, Any]) -> bool:
    """Whether whoever reads the page may create the first studio here."""
    return queries.may_create_first_studio(context["request"].user)


@register.filter
def purpose_title(purpose: str) -> str:
    """What is agreed to, by its name; a name that is not known any more stands for itself."""
    return str(WORDING[purpose].title) if purpose in WORDING else purpose


@register.filter
def as_day(text: str) -> date | None:
    """A day that an entry keeps as text, `2026-12-24`."""
    return parse_date(text or "")


# In this order, because most browsers also name the ones that they want to be taken for.
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR", "Opera"),
    ("SamsungBrowser", "Samsung Internet"),
    ("Firefox", "Firefox"),
    ("FxiOS", "Firefox"),
    ("CriOS", "Chrome"),
    ("Chrome", "Chrome"),
    ("Safari", "Safari"),
)
DEVICES = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS X", "Mac"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)


@register.filter
def browser_words(user_agent: str) -> str:
    """`Safari, iPhone`, of what a browser says of itself; its own line where nothing is known."""
    found = [
        next((name for mark, name in known if mark in user_agent), "")
        for known in (BROWSERS, DEVICES)
    ]
    return ", ".join(filter(None, found)) or user_agent or _("an unknown browser")


@register.filter
def promised(when: datetime, form: str = "D j M, H:i") -> str:
    """A promised moment on the reader's clock, with the clock's name."""
    return moment_words(when, form)
