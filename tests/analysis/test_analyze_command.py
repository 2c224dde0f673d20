"""The command's contract: exit codes, one clear line, every row, no database."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from analysis.core.measures import expected_events, measures_of
from tests.analysis.film import sound_only

ROOT = Path(__file__).resolve().parents[2]
CLIPS = ROOT / "coaching" / "demo" / "clips"
OPTIONS = {"view": "down_the_line", "handedness": "right", "stature_cm": 180}


def run(clip: Path, *extra: str, out: Path) -> subprocess.CompletedProcess[str]:
    """In a process of its own, with a database that cannot be reached."""
    told = ["--view", "down_the_line", "--handedness", "right", "--stature-cm", "180"]
    command = [sys.executable, "manage.py", "analyze", str(clip), *told, "--json", str(out), *extra]
    nowhere = {"DATABASE_URL": "postgres://nobody@127.0.0.1:1/nothing"}
    return subprocess.run(
        command, cwd=ROOT, env=os.environ | nowhere, capture_output=True, text=True, check=False
    )


def refusal(clip: Path, out: Path, **options: Any) -> str:
    with pytest.raises(CommandError) as told:
        call_command("analyze", str(clip), out=out, **OPTIONS | options)
    assert told.value.returncode == 2
    assert not out.exists()
    assert "\n" not in str(told.value)
    return str(told.value)


def test_a_file_that_is_no_film_is_exit_2_and_one_line(tmp_path: Path) -> None:
    text = tmp_path / "text.mp4"
    text.write_bytes(b"words\n" * 99)
    done = run(text, out=tmp_path / "o.json")
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1 and "text.mp4" in done.stderr
    assert not (tmp_path / "o.json").exists()


def test_sound_and_missing_files_are_exit_2(tmp_path: Path) -> None:
    assert "picture" in refusal(sound_only(tmp_path / "sound.m4a"), tmp_path / "o.json")
    assert "nowhere" in refusal(tmp_path / "nowhere.mp4", tmp_path / "o.json")


@pytest.mark.parametrize("options", [{"stature_cm": 18}, {"stature_cm": 950}, {"club_cm": 3}])
def test_numbers_that_cannot_be_are_exit_2(tmp_path: Path, options: dict[str, float]) -> None:
    assert "between" in refusal(CLIPS / "baseline_dtl.mp4", tmp_path / "o.json", **options)


@pytest.mark.parametrize("extra", [["--view", "sideways"], ["--kind", "dance"], ["--wrong"]])
def test_wrong_options_are_exit_2_and_one_line(tmp_path: Path, extra: list[str]) -> None:
    done = run(CLIPS / "baseline_dtl.mp4", *extra, out=tmp_path / "o.json")
    assert done.returncode == 2 and not (tmp_path / "o.json").exists()
    assert len(done.stderr.strip().splitlines()) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "kind", "view", "hand"),
    [
        ("halfway_dtl", "swing", "down_the_line", "right"),
        ("left_dtl", "rehearsal", "down_the_line", "left"),
        ("baseline_face_on", "hold", "face_on", "right"),
        ("setup_heels_dtl", "setup", "down_the_line", "right"),
        ("setup_heels_dtl", "swing", "down_the_line", "right"),
    ],
)
def test_a_measured_clip_lists_everything_once(
    tmp_path: Path, name: str, kind: str, view: str, hand: str
) -> None:
    out = tmp_path / "o.json"
    told = ["--kind", kind, "--view", view, "--handedness", hand]
    done = run(CLIPS / f"{name}.mp4", *told, out=out)
    assert done.returncode == 0, done.stderr
    result = json.loads(out.read_text(), parse_constant=lambda name: pytest.fail(name))
    assert result["schema"] == 1
    assert set(result["seconds"]) == {"decode", "pose", "club", "measure", "total"}
    assert set(result["clip"]) == {"width", "height", "frames", "duration_s", "fps", "rotation"}
    assert len(result["reps"]) == 1
    rep = result["reps"][0]
    assert tuple(rep["events"]) == expected_events(kind)
    listed = [(m["id"], m["event"]) for m in rep["measures"]]
    assert listed == [(m.id, m.event) for m in measures_of(view, kind)]
    for row in rep["measures"]:
        if row["value"] is None:
            assert row["reason"] and set(row) == {"id", "event", "view", "value", "reason"}
        else:
            assert row["uncertainty"] > 0 and row["source"] == "measured"
            assert 0 <= row["frame"] < result["clip"]["frames"]
    if name.startswith("setup") and kind == "swing":
        assert [q["code"] for q in result["quality"]] == ["no_swing"]
        assert {e for e, row in rep["events"].items() if row["time_s"] is not None} == {"address"}


@pytest.mark.slow
def test_a_refused_clip_has_no_repetitions(tmp_path: Path) -> None:
    out = tmp_path / "o.json"
    done = run(CLIPS / "feet_cut.mp4", out=out)
    assert done.returncode == 0
    result = json.loads(out.read_text())
    assert result["reps"] == []
    assert ("body_cut", "reject") in {(q["code"], q["level"]) for q in result["quality"]}
    assert {"code", "level", "message", "frame"} <= set(result["quality"][0])
