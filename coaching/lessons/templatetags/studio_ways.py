"""What a page takes from the studio: its colour, and the column of its own pages."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django import template
from django.urls import reverse

from coaching.lessons import shell
from coaching.people import access
from coaching.people.models import Studio
from coaching.people.queries import studio_of

register = template.Library()


@register.simple_tag(takes_context=True)
def accent(context: Any) -> str:
    """The colour that the studio of whoever is signed in has chosen, if another than ours."""
    user = context.get("user")
    if user is None or not user.is_authenticated:
        return ""
    studio = studio_of(user)
    return studio.accent if studio and studio.accent != Studio.Accent.WATER else ""


@register.simple_tag(takes_context=True)
def own_studio(context: Any) -> Studio | None:
    """The studio of whoever is signed in."""
    user = context.get("user")
    return studio_of(user) if user is not None and user.is_authenticated else None


@register.inclusion_tag("parts/logo.html")
def logo(studio: Studio | None, *, alt: bool = True) -> dict[str, Any]:
    """The studio's picture, where it has one; without `alt` its name stands beside it."""
    version = PurePath(str(studio.logo.name)).stem if studio else ""
    return {"studio": studio, "version": version, "alt": alt}


@register.simple_tag(takes_context=True)
def studio_ways(context: Any) -> list[tuple[Any, list[dict[str, Any]]]]:
    """(heading, ways) of the studio in the context, else of the first one worked in."""
    user, path = context["user"], context["request"].path
    studio = context.get("studio") or access.studios(user).order_by("pk").first()
    if studio is None:
        return []
    teaches = access.works_in(user, studio.pk, access.TEACHING)
    owns = access.works_in(user, studio.pk, access.OWNERS)
    groups: dict[str, list[dict[str, Any]]] = {group: [] for group in shell.STUDIO_GROUPS}
    for item in shell.studio_menu:
        for_owner = shell.STUDIO_GROUPS[item.group][1]
        if (for_owner and not owns) or (item.group and not teaches):
            continue
        url = reverse(item.url_name, args=[studio.pk] if item.group else [])
        here = path == url or (bool(item.group) and item.under != "" and path.startswith(url))
        groups[item.group].append(
            {"label": item.label, "icon": item.icon, "url": url, "here": here}
        )
    return [(shell.STUDIO_GROUPS[group][0], ways) for group, ways in groups.items() if ways]
