"""Can this clip be judged? The quality codes, each with what to do about it.

Thresholds are common practice, checked on the reference clips; none is published.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import LANDMARK, MEASURED_VIEWS, Capture
from analysis.core.signs import (
    TOES_SURE,
    VIEW_SURE,
    address_rows,
    back_turned,
    lean_deg,
    toe_direction,
    view_score,
)
from analysis.core.swings import TOGETHER
from analysis.errors import UnreadableVideo, VideoTooLong, VideoTooShort
from analysis.estimators import MediaPipeEstimator, PoseEstimator
from analysis.survey import SHORT_SIDE, Survey, look_over
from analysis.video import Frame, VideoInfo, frames, key_frames, probe

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]
CHECK_PICTURES = 12
_LEVELS = ("reject", "warn", "ok")
# What the landmarks of a picture say, and the light or the file does not.
SEEN_BY_NETWORK = (
    "nobody", "several_people", "body_cut", "too_small", "sideways", "wrong_view", "wrong_hand",
)  # fmt: skip
MOVING_KINDS = ("swing", "rehearsal", "hold", "bar")

# For whoever runs the command; what people read on pages is `coaching.lessons.wording.codes`.
MESSAGES = {
    "unreadable": "This file is not a video we can open. Send the clip straight from the phone.",
    "too_short": "The clip holds no moving picture. Film again and let it run through the swing.",
    "too_long": "The clip is longer than three minutes. Cut it to the swings and send it again.",
    "nobody": "Nobody was found in the picture. Film the whole body, from 3 to 5 metres.",
    "several_people": "Somebody else is in the picture. Film again with only the golfer in it.",
    "sideways": "The picture lies on its side. Turn the film upright and send it again.",
    "body_cut": "Part of the body is outside the picture. Step back until head and feet fit.",
    "too_small": "The golfer is too small. Put the phone 3 to 5 metres away, held upright.",
    "too_dark": "It is too dark. Turn so that the light is behind the phone, or film by day.",
    "blurred": "The picture is blurred. Wipe the lens, tap the golfer to focus, "
    "and send the original file.",
    "low_rate": "Too few frames a second for a swing. Set the camera to 60 frames or more.",
    "camera_moves": "The camera moves. Stand the phone on something that does not move.",
    "wrong_view": "This is not the angle asked for. Check the sketch of where the phone stands.",
    "wrong_hand": "The golfer seems to play the other way round. Check right- or left-handed, "
    "and that the film is not mirrored.",
    "no_swing": "No swing was found. Film from standing still until after the finish.",
    "fewer_swings": "There are fewer swings than asked for. Film the missing ones.",
    "off_line": "The camera stands off the line, which changes turn. Put the phone square to it.",
    "slow_motion": "The clip plays in slow motion, so times and speeds are left out. "
    "Send it as filmed.",
    "view_not_measured": "This angle is for looking at: nothing is measured from it.",
}


@dataclass(frozen=True)
class Limits:
    """Where a warning and where a refusal begins."""

    nobody_share: float = 0.4
    other_warn: float = 0.35
    other_reject: float = 0.75
    small_warn: float = 0.29  # a third of the picture: the bent body measures 0.86-0.93 of itself
    small_reject: float = 0.20
    dark_warn: float = 40.0
    dark_reject: float = 20.0
    blur_warn: float = 0.60
    blur_reject: float = 0.80
    rate_warn: float = 45.0
    rate_reject: float = 23.0
    shift_warn: float = 0.02
    shift_reject: float = 0.12
    yaw_warn_deg: float = 8.0


LIMITS = Limits()
_DARK = -LIMITS.dark_warn, -LIMITS.dark_reject
FEW_PICTURES = 3  # with the golfer in them, from which framing can be told
LYING_DEG = 60.0
UPRIGHT_VIEWS = (*MEASURED_VIEWS, "rear")  # from above a golfer may lie any way


def issue(
    code: str, level: str, *, frame: int | None = None, time_s: float | None = None
) -> dict[str, Any]:
    """One row of the contract's `quality`."""
    return {
        "code": code,
        "level": level,
        "message": MESSAGES[code],
        "frame": frame,
        "time_s": time_s,
    }


def check_video(
    path: Path | str,
    *,
    capture: Capture,
    estimator: PoseEstimator | None = None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Whether a clip can be judged, from a dozen of its pictures.

    Returns
    -------
    dict
        `clip` as in the command's JSON and `quality`. A file that cannot be opened is
        an answer too: `clip` is None and the code says why.
    """
    try:
        info = probe(path)
    except (UnreadableVideo, VideoTooShort, VideoTooLong) as error:
        return {"clip": None, "quality": [issue(error.code, "reject")]}
    tell = progress or (lambda stage, share: None)
    with estimator or MediaPipeEstimator() as network:
        survey = look_over(
            path,
            info,
            estimator=network,
            mirrored=capture.handedness == "left",
            wanted=key_frames(info, CHECK_PICTURES),
            progress=lambda share: tell("check", share),
        )
        _, quality = judged(path, info, survey, capture, network)
    tell("check", 1.0)
    return {"clip": clip_row(info), "quality": quality}


def judged(
    path: Path | str, info: VideoInfo, survey: Survey, capture: Capture, network: PoseEstimator
) -> tuple[Survey, list[dict[str, Any]]]:
    """The codes of a first look, once what would refuse the clip has been looked at again.

    Other pictures, and the heavy network: a refusal that does not survive it is a warning,
    and what it names instead comes first.

    Returns
    -------
    Survey
        The second look where the first saw hardly anybody, else the first.
    """
    quality = survey_issues(info, survey, capture)
    doubted = {row["code"] for row in quality if row["level"] == "reject"} & set(SEEN_BY_NETWORK)
    if not doubted:
        return survey, quality
    again = look_over(
        path,
        info,
        estimator=network,
        mirrored=capture.handedness == "left",
        wanted=_other_frames(info, survey),
        quick=doubted == {"several_people"},
    )
    second = survey_issues(info, again, capture)
    empty = doubted == {"nobody"} and not again.seen.any() and capture.view in UPRIGHT_VIEWS
    if empty and _lies(path, info, network):
        return survey, [issue("sideways", "reject", frame=0, time_s=0.0)]
    confirmed = {row["code"] for row in second if row["level"] == "reject"}
    if "several_people" in doubted and len(doubted) > 1:
        confirmed.add("several_people")  # the heavy network cannot say
    instead = [r for r in second if r["level"] == "reject" and "nobody" in doubted]
    kept = [
        row | {"level": "warn"} if row["code"] in doubted - confirmed else row
        for row in quality
        if row["code"] not in {r["code"] for r in instead} and row["code"] != "nobody"
    ]
    rows = sorted([*instead, *kept], key=lambda row: _LEVELS.index(row["level"]))
    return (again if "nobody" in doubted else survey), rows


def _other_frames(info: VideoInfo, survey: Survey) -> NDArray[np.int64]:
    """Pictures between those of the first look, and some of those in which hands hang low."""
    between = (survey.frame[1:] + survey.frame[:-1]) // 2
    some = between[np.linspace(0, len(between) - 1, CHECK_PICTURES).astype(int)]
    low = address_rows(survey.xy_px, stature_px=survey.stature_px(), together=TOGETHER)
    near = np.minimum(survey.frame[low[:: max(len(low) // 6, 1)]] + 1, info.frames - 1)
    return np.unique(np.concatenate([some, near]))


def _lies(path: Path | str, info: VideoInfo, network: PoseEstimator) -> bool:
    """Whether somebody stands upright once the picture is turned to one side or the other."""
    wanted = np.unique(np.linspace(0, info.frames - 1, 4).round().astype(np.int64))
    for turn in (cv2.ROTATE_90_CLOCKWISE, cv2.ROTATE_90_COUNTERCLOCKWISE):
        pictures = (
            Frame(frame.index, frame.time_s, np.ascontiguousarray(cv2.rotate(frame.image, turn)))
            for frame in frames(path, info, wanted=wanted, short_side=SHORT_SIDE)
        )
        people = [found[0] for _, found in network.estimate(pictures, quick=False) if found]
        if 2 * len(people) > len(wanted):
            lean = lean_deg(np.array([person.xy_px for person in people]))
            if np.median(lean) < 90 - LYING_DEG:
                return True
    return False


def clip_row(info: VideoInfo) -> dict[str, Any]:
    """The contract's `clip`."""
    return {
        "width": info.width,
        "height": info.height,
        "frames": info.frames,
        "duration_s": round(info.duration_s, 4),
        "fps": round(info.fps, 3),
        "rotation": info.rotation,
    }


def refused(quality: list[dict[str, Any]]) -> bool:
    return any(row["level"] == "reject" for row in quality)


def insisted_on(quality: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The codes once a person has said that the clip is right: nothing refuses any more."""
    return [row | {"level": "warn"} if row["level"] == "reject" else row for row in quality]


def survey_issues(info: VideoInfo, survey: Survey, capture: Capture) -> list[dict[str, Any]]:
    """Every code that a quick look can tell, refusals first."""
    found: list[dict[str, Any] | None] = [*_film_issues(info, capture)]
    turned = _sideways(survey) if capture.view in UPRIGHT_VIEWS else None
    if survey.seen.mean() < LIMITS.nobody_share:
        found += _why_unseen(survey, turned)
    elif turned is not None:
        found.append(turned)  # no other sign can be read from a body that lies
    else:
        found += _picture_issues(survey)
        found += _frame_issues(survey)
        if capture.view in MEASURED_VIEWS:
            found += _view_issues(survey, capture)
    rows = [row for row in found if row is not None]
    return sorted(rows, key=lambda row: _LEVELS.index(row["level"]))


def _film_issues(info: VideoInfo, capture: Capture) -> list[dict[str, Any]]:
    rows = []
    if capture.view not in MEASURED_VIEWS:
        rows.append(issue("view_not_measured", "ok"))
    if capture.kind in MOVING_KINDS and info.fps < LIMITS.rate_warn:
        rows.append(issue("low_rate", "reject" if info.fps < LIMITS.rate_reject else "warn"))
    if info.capture_fps is not None and info.capture_fps > 1.5 * info.fps:
        rows.append(issue("slow_motion", "warn"))
    if min(info.width, info.height) < NARROW_PX:
        rows.append(issue("blurred", "warn", frame=0, time_s=0.0))
    return rows


def _why_unseen(survey: Survey, turned: dict[str, Any] | None) -> list[dict[str, Any] | None]:
    """Why hardly anybody was found: what hides a golfer comes before `nobody`."""
    blur = float(np.percentile(survey.blur, 25))
    why = [
        _graded(
            survey, "too_dark", -float(np.median(survey.brightness)), *_DARK, -survey.brightness
        )
    ]
    if survey.seen.sum() >= FEW_PICTURES:
        why += [turned, *_frame_issues(survey)]
    why.append(_graded(survey, "blurred", blur, LIMITS.blur_warn, LIMITS.blur_reject, survey.blur))
    reasons = [row for row in why if row is not None and row["level"] == "reject"]
    return [*reasons] or [_at(survey, "nobody", "reject", survey.brightness)]


def _picture_issues(survey: Survey) -> list[dict[str, Any] | None]:
    bright = float(np.median(survey.brightness))
    # one sharp moment in four is enough
    blur = float(np.percentile(survey.blur[survey.seen], 25))
    shift = float(np.percentile(survey.shift, 90))
    return [
        _graded(survey, "too_dark", -bright, *_DARK, -survey.brightness),
        _graded(survey, "blurred", blur, LIMITS.blur_warn, LIMITS.blur_reject, survey.blur),
        _graded(
            survey, "camera_moves", shift, LIMITS.shift_warn, LIMITS.shift_reject, survey.shift
        ),
    ]


def _frame_issues(survey: Survey) -> list[dict[str, Any] | None]:
    width, height = survey.size_px
    seen = survey.xy_px[survey.seen]
    share = survey.stature_px() / height
    return [
        _several(survey),
        _graded(
            survey, "too_small", -share, -LIMITS.small_warn, -LIMITS.small_reject, survey.blur * 0
        ),
        _cut(survey, seen, width, height),
    ]


def _several(survey: Survey) -> dict[str, Any] | None:
    """Somebody else is there half of the time; seen only beside the golfer, they warn at most."""
    others = np.sort(survey.others)[len(survey.others) // 2]
    warn, reject = LIMITS.other_warn, LIMITS.other_reject
    found = _graded(survey, "several_people", others, warn, reject, survey.others)
    looked = np.sort(survey.beside[np.isfinite(survey.beside)])
    if found is None and len(looked) and looked[len(looked) // 2] > warn:
        found = _at(survey, "several_people", "warn", survey.beside)
    return found


def _cut(survey: Survey, seen: Array, width: int, height: int) -> dict[str, Any] | None:
    """Feet or head beyond the edge in a third of the pictures; hands now and then are fine."""
    marks = [LANDMARK[f"{j}_{s}"] for j in ("ear", "heel", "toe") for s in ("left", "right")]
    beyond = (
        (seen[:, marks, 0] < -0.01 * width)
        | (seen[:, marks, 0] > 1.01 * width)
        | (seen[:, marks, 1] < -0.01 * height)
        | (seen[:, marks, 1] > 1.005 * height)
    )
    head_out = np.median(np.nanmin(seen[:, LANDMARK["nose"], 1])) < 0
    out = beyond.any(axis=1)
    if out.mean() < 1 / 3 and not head_out:
        return None
    frames = np.flatnonzero(survey.seen)
    first = frames[int(np.argmax(out))]
    found = issue(
        "body_cut",
        "reject" if out.mean() > 1 / 2 else "warn",
        frame=int(survey.frame[first]),
        time_s=float(survey.time_s[first]),
    )
    return found | {"edges": _edges(seen[:, marks], width, height, head_out=bool(head_out))}


def _edges(marks: Array, width: int, height: int, *, head_out: bool) -> list[str]:
    """Which edges cut the golfer off: where something is beyond in a third of the pictures."""
    x, y = marks[..., 0], marks[..., 1]
    beyond = {"top": y < -0.01 * height, "bottom": y > 1.005 * height,
              "left": x < -0.01 * width, "right": x > 1.01 * width}  # fmt: skip
    edges = [edge for edge, out in beyond.items() if out.any(axis=1).mean() >= 1 / 3]
    return ["top", *edges] if head_out and "top" not in edges else edges


def _sideways(survey: Survey) -> dict[str, Any] | None:
    """The golfer lies or stands on the head: the film is turned and its file does not say so."""
    lean = lean_deg(survey.xy_px)
    lean = np.where(np.isfinite(lean), lean, 0.0)
    if not survey.seen.any() or np.median(lean[survey.seen]) <= LYING_DEG:
        return None
    return _at(survey, "sideways", "reject", lean)


def _view_issues(survey: Survey, capture: Capture) -> list[dict[str, Any] | None]:
    """Filmed from elsewhere, or by somebody who plays the other way round.

    A score that speaks for the other view without being sure of it only warns.
    """
    still = address_rows(survey.xy_px, stature_px=survey.stature_px(), together=TOGETHER)
    if not len(still):
        return []
    xy = survey.xy_px[still]
    shown = int(still[len(still) // 2])

    def row(code: str, level: str) -> list[dict[str, Any] | None]:
        frame, time_s = int(survey.frame[shown]), float(survey.time_s[shown])
        return [issue(code, level, frame=frame, time_s=time_s)]

    against = view_score(xy) * (-1 if capture.view == "face_on" else 1)
    if against > 0:
        return row("wrong_view", "reject" if against > VIEW_SURE else "warn")
    if capture.view == "face_on":
        return row("wrong_view", "reject") if back_turned(xy) else []
    return row("wrong_hand", "reject") if np.median(toe_direction(xy)) < -TOES_SURE else []


# A picture this narrow has lost what the shaft and the joints need: chat copies.
NARROW_PX = 400


def _graded(
    survey: Survey, code: str, value: float, warn: float, reject: float, per_picture: Array
) -> dict[str, Any] | None:
    if not value > warn:
        return None
    return _at(survey, code, "reject" if value > reject else "warn", per_picture)


def _at(survey: Survey, code: str, level: str, per_picture: Array) -> dict[str, Any]:
    """The picture that shows it most."""
    known = np.nan_to_num(per_picture, nan=-np.inf)
    i = int(np.argmax(known)) if len(known) else 0
    return issue(code, level, frame=int(survey.frame[i]), time_s=float(survey.time_s[i]))
