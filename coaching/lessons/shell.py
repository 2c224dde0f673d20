"""The frame around every page: the menu, the tabs on pages about a student, the studio's ways.

Each slice puts its own pages in when the apps are ready, so nobody to the left names a page to
the right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Item:
    """One way in a menu.

    Parameters
    ----------
    place : int
        Items stand in this order.
    label : str
        Lazily translated.
    url_name : str
        A learner's item and a tab take the student as their argument.
    under : str
        The item is marked as here on every page whose path begins so.
    count : str
        Name of a number shown beside the label, `waiting`.
    group : str
        Of the studio's pages: a heading of `STUDIO_GROUPS`.
    """

    place: int
    label: Any
    url_name: str
    icon: str = ""
    under: str = ""
    mark: str = ""
    count: str = ""
    group: str = ""


class Menu:
    """Items in order of their place; adding the same address twice keeps the newer."""

    def __init__(self) -> None:
        self._items: dict[str, Item] = {}

    def add(self, item: Item) -> None:
        self._items[item.url_name] = item

    def __iter__(self) -> Any:
        return iter(sorted(self._items.values(), key=lambda item: item.place))


coach_menu = Menu()
learner_menu = Menu()
student_tabs = Menu()
student_actions = Menu()  # what a coach can do from any page about a student
studio_menu = Menu()  # the studio's own pages, one job a page; each takes the studio

# Headings of the studio's pages, in order, and whether only an owner reads what stands under one.
STUDIO_GROUPS = {
    "": ("", False),
    "say": (_("What you say and ask"), False),
    "work": (_("How you work"), False),
    "own": (_("For the owner"), True),
}
