"""What every stage of the measuring hands to the next: names, shapes, units.

Conventions, said once
----------------------
Time is axis 0, then the landmark or joint, then x, y(, z). Picture positions are
in pixels of the upright picture (rotation tag applied), x to the right, **y down**.
Times are presentation times in seconds, 0 = first displayed frame.
Golfer's frame in metres: X toward the target, Y toward the ball, Z up; for a
right-hander this is a left-handed triple, so turns are always written as a change
of ``atan2(dY, dX)``, never with a library's rotation.

Left-handers are mirrored once, at the door (`mirror_for`): behind it everybody is a
right-hander, so that landmark side "left" is the lead side and the ball lies at the
picture's right in a down-the-line clip, the target at the picture's right face-on.
Missing is NaN and stays NaN.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

VIEWS = ("down_the_line", "face_on", "rear", "overhead", "other")
MEASURED_VIEWS = ("down_the_line", "face_on")
KINDS = ("setup", "hold", "rehearsal", "swing", "bar")
EVENTS = (
    "address",
    "takeaway",
    "lead_arm_back",
    "late_back",
    "top",
    "transition",
    "lead_arm_down",
    "delivery",
    "impact",
    "follow_through",
    "finish",
)

# The 33 landmarks of the pose network, in its order. Behind the door: left = lead.
LANDMARKS = (
    "nose",
    "eye_inner_left",
    "eye_left",
    "eye_outer_left",
    "eye_inner_right",
    "eye_right",
    "eye_outer_right",
    "ear_left",
    "ear_right",
    "mouth_left",
    "mouth_right",
    "shoulder_left",
    "shoulder_right",
    "elbow_left",
    "elbow_right",
    "wrist_left",
    "wrist_right",
    "pinky_left",
    "pinky_right",
    "index_left",
    "index_right",
    "thumb_left",
    "thumb_right",
    "hip_left",
    "hip_right",
    "knee_left",
    "knee_right",
    "ankle_left",
    "ankle_right",
    "heel_left",
    "heel_right",
    "toe_left",
    "toe_right",
)
LANDMARK = {name: i for i, name in enumerate(LANDMARKS)}

_LIMB = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "toe")
# The joints that are measured: true joint centres, not the network's surface points.
JOINTS = ("head", "neck", *(f"{j}_lead" for j in _LIMB), *(f"{j}_trail" for j in _LIMB), "grip")
JOINT = {name: i for i, name in enumerate(JOINTS)}


@dataclass(frozen=True)
class PoseSequence:
    """Landmarks of one person over the frames that were looked at.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Presentation times in seconds, strictly increasing, not evenly spaced.
    frame : ndarray of int, shape (T,)
        Index of each row in the clip's table of frame times.
    xy_px : ndarray, shape (T, 33, 2)
        Landmarks in pixels, y down; NaN where nobody was found.
    confidence : ndarray, shape (T, 33)
        The network's visibility, 0 to 1; NaN where nobody was found.
    size_px : tuple of int
        Width and height of the upright picture.
    depth : ndarray, shape (T, 33), optional
        The network's own depth, in pixels, smaller is nearer. Never a source of turn.
    world_m : ndarray, shape (T, 33, 3), optional
        The network's metric landmarks. Never a source of turn by themselves.
    steady : ndarray, shape (T, 2, 3), optional
        Of a camera that moved: from each frame's own picture to the one that `xy_px`
        counts in, as in `core.steady`.

    Raises
    ------
    ValueError
        When shapes disagree or times do not increase.
    """

    time_s: Array
    frame: NDArray[np.int64]
    xy_px: Array
    confidence: Array
    size_px: tuple[int, int]
    depth: Array | None = None
    world_m: Array | None = None
    steady: Array | None = None

    def __post_init__(self) -> None:
        t = len(self.time_s)
        expected = {
            "frame": (t,),
            "xy_px": (t, len(LANDMARKS), 2),
            "confidence": (t, len(LANDMARKS)),
            "depth": (t, len(LANDMARKS)),
            "world_m": (t, len(LANDMARKS), 3),
            "steady": (t, 2, 3),
        }
        for name, shape in expected.items():
            value = getattr(self, name)
            if value is not None and value.shape != shape:
                raise ValueError(f"{name}: expected shape {shape}, got {value.shape}")
        if np.any(np.diff(self.time_s) <= 0):
            raise ValueError("time_s must increase strictly")

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class ShaftTrack:
    """The club shaft in the picture, frame by frame.

    Parameters
    ----------
    time_s, frame : ndarray, shape (N,)
    angle_deg : ndarray, shape (N,)
        Picture angle of the ray from the grip to the club head:
        ``atan2(-(dy), dx)``, so 0 points right, 90 up; unwrapped over time;
        NaN where the shaft was not seen.
    sd_deg : ndarray, shape (N,)
        One standard deviation of `angle_deg`, without event time.
    grip_px : ndarray, shape (N, 2)
        Middle of the hands on the handle.
    length_px : ndarray, shape (N,)
        Visible length from the grip outward, NaN where not seen.
    ball_px : ndarray, shape (2,)
        Ball at rest; NaN when there is none.
    ball_gone_s : float
        First time at which the ball has left; NaN when unknown.
    head_px : ndarray, shape (N, 2)
        Club head where it was seen.
    """

    time_s: Array
    frame: NDArray[np.int64]
    angle_deg: Array
    sd_deg: Array
    grip_px: Array
    length_px: Array
    head_px: Array
    ball_px: Array
    ball_gone_s: float


@dataclass(frozen=True)
class Moment:
    """When an event happened, or why it has no time.

    Exactly one of `time_s` and `reason` is set; `uncertainty_s` is one standard
    deviation, at least half the gap between frames.
    """

    time_s: float | None
    uncertainty_s: float | None = None
    reason: str = ""


@dataclass(frozen=True)
class Capture:
    """What the person who filmed has told us, needed to turn pixels into figures.

    `repetitions` is how many were asked for, None where nobody said.
    """

    view: str
    kind: str
    handedness: str
    stature_cm: float
    club_cm: float | None = None
    repetitions: int | None = None


def mirror_for(xy_px: Array, *, width_px: int) -> Array:
    """Mirror left-handers' landmarks so that left is the lead side.

    Parameters
    ----------
    xy_px : ndarray, shape (T, 33, 2)
        Landmarks of a left-hander as filmed.
    width_px : int
        Width of the picture.

    Returns
    -------
    ndarray, shape (T, 33, 2)
        Landmarks of the right-hander seen in a mirror; sides swapped.
    """
    mirrored = xy_px[:, SIDE_SWAP].copy()
    mirrored[..., 0] = width_px - mirrored[..., 0]
    return mirrored


def _swapped(name: str) -> int:
    if name.endswith("_left"):
        return LANDMARK[name[:-5] + "_right"]
    if name.endswith("_right"):
        return LANDMARK[name[:-6] + "_left"]
    return LANDMARK[name]


SIDE_SWAP = np.array([_swapped(name) for name in LANDMARKS])
