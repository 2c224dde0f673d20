"""No fake can take a call that the real function refuses, and no test goes round that."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.spec import SpeccedPatch

ROOT = Path(__file__).resolve().parent
ME = sys.modules[__name__]


def greet(*, name: str, loud: bool = False) -> str:
    return name.upper() if loud else name


class Door:
    def open(self, wide: bool) -> bool:
        return wide


TABLE = {"greet": greet}


def anything(*args: object, **kwargs: object) -> str:
    return "fake"


def test_the_fixture_of_every_test_is_specced(monkeypatch: pytest.MonkeyPatch) -> None:
    assert isinstance(monkeypatch, SpeccedPatch)
    with monkeypatch.context() as inner:
        assert isinstance(inner, SpeccedPatch)


def test_a_fake_takes_what_the_real_one_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ME, "greet", anything)
    assert greet(name="Kit") == "fake"
    with pytest.raises(TypeError):
        greet(author="Kit")  # type: ignore[call-arg]


def test_a_fake_named_by_its_path_is_held_to_it_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(f"{__name__}.greet", anything)
    with pytest.raises(TypeError):
        greet("Kit")  # type: ignore[misc]


def test_a_method_and_a_table_are_held_to_it_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Door, "open", anything)
    assert Door().open(True) == "fake"
    with pytest.raises(TypeError):
        Door().open()  # type: ignore[call-arg]
    monkeypatch.setitem(TABLE, "greet", anything)
    with pytest.raises(TypeError):
        TABLE["greet"](author="Kit")  # type: ignore[call-arg]
    monkeypatch.setattr(ME, "TABLE", {"greet": anything})
    with pytest.raises(TypeError):
        TABLE["greet"](author="Kit")  # type: ignore[call-arg]


# Ways to put a fake in place that nobody holds to a signature.
UNSPECCED = {"patch", "Mock", "MagicMock", "AsyncMock", "PropertyMock"}


def ways_round(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text())):
        where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.ImportFrom) and node.module in ("unittest.mock", "mock"):
            yield from (f"{where} {a.name}" for a in node.names if a.name in UNSPECCED)
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.value.id == "mock" and node.attr in UNSPECCED:
                yield f"{where} mock.{node.attr}"
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("MonkeyPatch"):
            yield f"{where} MonkeyPatch()"


@pytest.mark.parametrize(
    "line",
    ["from unittest.mock import patch", "mock.MagicMock()", "pytest.MonkeyPatch()"],
)
def test_a_way_round_is_recognised(line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "a.py"
    path.write_text(line)
    monkeypatch.setattr(ME, "ROOT", tmp_path)
    assert list(ways_round(path))


def test_no_test_goes_round() -> None:
    files = [path for path in sorted(ROOT.rglob("*.py")) if path.name != "test_spec.py"]
    assert [way for path in files for way in ways_round(path)] == []
