"""The walk of one clip in DEVELOPERS.md: every hop is there, and is named by one before it."""

from __future__ import annotations

import importlib
import inspect
import re
from pathlib import Path
from typing import Any

PAGE = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text()
HOP = re.compile(r"^(\d+)\. `((?:analysis|coaching)\.[\w.]+)`( \(.+\))?$", re.MULTILINE)
MOST = 55


def walk() -> list[tuple[str, bool]]:
    """(dotted name, whether it is an entrance) of every hop."""
    part = PAGE.split("### One clip, from upload to verdict")[1].split("\n## ")[0]
    found = HOP.findall(part)
    assert [int(number) for number, _name, _how in found] == list(range(1, len(found) + 1))
    return [(name, bool(how)) for _number, name, how in found]


def thing(name: str) -> Any:
    module, _dot, attribute = name.rpartition(".")
    return getattr(importlib.import_module(module), attribute)


def source(name: str) -> str:
    found = thing(name)
    if callable(found):
        found = inspect.unwrap(getattr(found, "run", found))
        return inspect.getsource(found)
    return inspect.getsource(importlib.import_module(name.rpartition(".")[0]))


def test_the_walk_is_short_and_every_hop_leads_to_the_next() -> None:
    hops = walk()
    assert 40 < len(hops) <= MOST
    read = ""
    for name, is_entrance in hops:
        short = name.rpartition(".")[2]
        named = re.search(rf"\b{re.escape(short)}\b", read) is not None
        assert named or is_entrance, f"nothing before it names {name}"
        read += source(name)


def test_no_hop_leads_to_the_right() -> None:
    """Whoever is entered calls what stands to its left; an entrance alone leads to the right."""
    slices = ("analysis", "people", "lessons", "intake", "review", "diagnosis", "practice")
    slices += ("dashboard", "notify")
    entered = 0
    for name, is_entrance in walk():
        here = slices.index(name.split(".")[name.startswith("coaching")])
        if is_entrance:
            entered = here
        assert here <= entered, name
