"""What people put right, as labelled data: numbers only, no faces, no names, no minors."""

from __future__ import annotations

import hashlib
import hmac
import json
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from analysis.core.measures import nearest_frame
from coaching.review.queries import player


class Command(BaseCommand):
    help = (
        "Write standing corrections as JSON lines: what was read, what a person put there. "
        "No picture, name or account leaves; clips of minors and erased clips are left out."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("output", nargs="?", default="-", help="a file, or - for the screen")

    def handle(self, *args: Any, **options: Any) -> None:
        rows = [json.dumps(row, sort_keys=True) for row in labelled()]
        text = "".join(f"{row}\n" for row in rows)
        if options["output"] == "-":
            sys.stdout.write(text)
        else:
            Path(options["output"]).write_text(text)
            self.stdout.write(f"{len(rows)} corrections written to {options['output']}")


def labelled() -> list[dict[str, Any]]:
    """Corrections that may leave, each with what the computer had read there.

    Returns
    -------
    list of dict
        `clip` a keyed digest that cannot be turned back into a person, `view`, `kind`,
        `handedness`, `width`, `height`, `target`, `time_s`, `frame`, `value` and `read`
        (the reading in the same form, or null).
    """
    return [_row(correction) for correction in player.corrections_to_export()]


def _row(correction: Any) -> dict[str, Any]:
    video = correction.video
    data = player.player_data(video)
    frame = nearest_frame(video.frame_times_s, correction.time_s)
    return {
        "clip": _unnamed(video.pk),
        "view": video.view,
        "kind": video.kind,
        "handedness": video.handedness,
        "width": video.width,
        "height": video.height,
        "target": correction.target,
        "time_s": correction.time_s,
        "frame": frame,
        "value": correction.value,
        "read": _read(data, correction.target, frame, correction.value),
    }


def _unnamed(pk: int) -> str:
    key = settings.SECRET_KEY.encode()
    return hmac.new(key, f"clip {pk}".encode(), hashlib.sha256).hexdigest()[:16]


def _read(data: dict[str, Any], target: str, frame: int, value: dict[str, Any]) -> Any:
    kind, _sep, name = target.partition(":")
    if kind == "event":
        reps = data["repetitions"]
        rep = value.get("repetition", 0)
        event = reps[rep]["events"].get(name, {}) if rep < len(reps) else {}
        return event.get("original", event.get("time_s"))
    curves = data["curves"]
    if frame not in curves["frames"]:
        return None
    at = curves["frames"].index(frame)
    if kind == "joint":
        point = curves["joints"].get(name, [None] * (at + 1))[at]
        return None if point is None else {"x": point[0], "y": point[1]}
    ends = {end: curves["shaft"][end][at] for end in ("grip", "head")} if curves["shaft"] else {}
    return ends if ends and all(ends.values()) else None
