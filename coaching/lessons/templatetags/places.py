"""A saved sentence with its places marked."""

from __future__ import annotations

from django import template
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from coaching.lessons.places import PLACES

register = template.Library()


@register.filter
def with_slots(text: str) -> SafeString:
    shown: str = escape(text)
    for place, name in PLACES.items():
        shown = shown.replace(place, f'<span class="slot">{escape(name)}</span>')
    return mark_safe(shown)  # noqa: S308 (escaped above, piece by piece)
