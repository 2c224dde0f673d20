"""Which way imports point, and that nothing we serve or lock comes from a host we name.

`templates, static  <-  coaching  ->  analysis (glue)  ->  analysis.pipeline ...  ->  analysis.core`
"""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
# A slice uses those to its left, never one to its right.
SLICES = ("people", "lessons", "intake", "review", "diagnosis", "practice")
SLICES += ("dashboard", "notify", "api", "demo", "operations")
CORE_MAY_USE = {"numpy", "scipy"} | sys.stdlib_module_names
# The core has no files, clock, logging or processes, though the standard library has them.
CORE_MAY_NOT_USE = {"os", "pathlib", "io", "time", "datetime", "logging", "subprocess", "random"}


def modules_under(folder: str) -> list[Path]:
    found = sorted((ROOT / folder).rglob("*.py"))
    assert found, folder
    return found


def imported_by(path: Path) -> Iterator[str]:
    """Dotted names that a file imports anywhere in it, relative ones made absolute."""
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            base = ".".join(part for part in (above, node.module) if part)
            yield base
            yield from (f"{base}.{alias.name}" for alias in node.names)


def is_inside(name: str, package: str) -> bool:
    return name == package or name.startswith(f"{package}.")


def offences(folder: str, forbidden: set[str]) -> list[str]:
    return [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules_under(folder)
        for name in imported_by(path)
        if any(is_inside(name, package) for package in forbidden)
    ]


def test_analysis_does_not_know_the_lessons() -> None:
    assert offences("analysis", {"coaching"}) == []


def test_core_is_numpy_and_itself() -> None:
    strangers = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules_under("analysis/core")
        for name in imported_by(path)
        if not is_inside(name, "analysis.core")
        and (name.split(".")[0] not in CORE_MAY_USE or name.split(".")[0] in CORE_MAY_NOT_USE)
    ]
    assert strangers == []


@pytest.mark.parametrize("name", SLICES)
def test_a_slice_uses_only_those_to_its_left(name: str) -> None:
    right = {f"coaching.{other}" for other in SLICES[SLICES.index(name) + 1 :]}
    assert offences(f"coaching/{name}", right) == []


def test_every_slice_has_its_place() -> None:
    folders = {path.parent.name for path in (ROOT / "coaching").glob("*/__init__.py")}
    assert folders == set(SLICES)


def modules_loaded_by(statement: str) -> set[str]:
    script = f"{statement}\nimport json, sys\nprint(json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return {name.split(".")[0] for name in json.loads(done.stdout.splitlines()[-1])}


@pytest.mark.parametrize("module", ["analysis.core", "analysis.pipeline"])
def test_measuring_loads_no_web_and_no_queue(module: str) -> None:
    names = [f"import {module}"]
    if module == "analysis.core":
        names = [
            f"import {'.'.join(path.relative_to(ROOT).with_suffix('').parts)}"
            for path in modules_under("analysis/core")
            if path.stem != "__init__"
        ]
    loaded = modules_loaded_by("\n".join(names))
    assert loaded & {"django", "celery", "rest_framework"} == set()


def test_a_web_process_never_loads_the_measuring_libraries() -> None:
    loaded = modules_loaded_by(
        "import os\n"
        "os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'\n"
        "import django; django.setup()\n"
        "import coaching.urls, coaching.wsgi"
    )
    assert "django" in loaded
    assert loaded & {"cv2", "av", "mediapipe"} == set()


# A link that a person follows is not an asset; what the page itself fetches is.
FETCHED_FROM_ELSEWHERE = re.compile(
    r"""(?:\bsrc|\bsrcset|\bposter|\baction|<link[^>]*\bhref)\s*=\s*["']?\s*(?:https?:)?//"""
    r"""|url\(\s*["']?(?:https?:)?//"""
    r"""|@import\s+["'](?:https?:)?//"""
    r"""|\b(?:import|from|fetch|import\()\s*\(?\s*["'`](?:https?:)?//""",
    re.IGNORECASE,
)


@pytest.mark.parametrize(
    "line",
    [
        '<script src="https://host.example/a.js">',
        "<link rel=stylesheet href='//host.example/a.css'>",
        "background: url(https://host.example/a.png)",
        'import { a } from "https://host.example/a.js"',
        "fetch('https://host.example/a')",
    ],
)
def test_an_asset_from_elsewhere_is_recognised(line: str) -> None:
    assert FETCHED_FROM_ELSEWHERE.search(line)


def test_no_asset_comes_from_another_host() -> None:
    ours = [
        path
        for folder in ("templates", "static", "coaching")
        for path in sorted((ROOT / folder).rglob("*"))
        if path.suffix in {".html", ".css", ".js", ".svg", ".txt", ".json", ".webmanifest"}
        and "vendor" not in path.relative_to(ROOT).parts
    ]
    assert ours
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in ours
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if FETCHED_FROM_ELSEWHERE.search(line)
    ]
    assert found == []


@pytest.mark.parametrize(
    "name", ["requirements.lock", "requirements-dev.lock", "package-lock.json", ".npmrc"]
)
def test_a_lock_file_names_no_host(name: str) -> None:
    text = (ROOT / name).read_text()
    assert "://" not in text
    assert "resolved" not in text.replace("lockfile-registry-resolved", "")


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-dev.lock"])
def test_every_locked_python_package_is_pinned_and_hashed(name: str) -> None:
    text = (ROOT / name).read_text().replace("\\\n", " ")
    entries = [line for line in text.splitlines() if line.strip()]
    assert entries
    assert [line for line in entries if "==" not in line or "--hash=sha256:" not in line] == []
    # It unpacks into the same folder as opencv-python-headless.
    assert not [line for line in entries if line.startswith("opencv-contrib-python")]


# Addresses and templates are arrows too. The dashboard's names are the site's (coaching/urls.py).
NAMED = re.compile(r"""['"]({})[:/](\w[\w/]*)(?:\.html|\.txt)?['"]""".format("|".join(SLICES)))


def names_to_the_right() -> list[str]:
    found = []
    for folder in ("coaching", "templates"):
        for path in sorted((ROOT / folder).rglob("*")):
            parts = path.relative_to(ROOT).parts
            if path.suffix not in {".py", ".html", ".txt"} or parts[1] not in SLICES:
                continue
            right = SLICES[SLICES.index(parts[1]) + 1 :]
            found += [
                f"{path.relative_to(ROOT)} names {match[0]}"
                for match in NAMED.finditer(path.read_text())
                if match[1] in right
            ]
    return found


def test_addresses_and_templates_point_one_way_too() -> None:
    assert names_to_the_right() == []


# Who may reach which rows is one rule, and stands in `access.py` of the slice.
REACH = re.compile(r"\brows_(?:read|taught|acted)\(")


def test_who_may_reach_rows_is_said_in_access_only() -> None:
    inline = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in modules_under("coaching")
        if path.name != "access.py"
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if REACH.search(line)
    ]
    assert inline == []
