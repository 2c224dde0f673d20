"""The club shaft in the picture (first version: not seen yet)."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from analysis.core.pose import LANDMARK, Capture, PoseSequence, ShaftTrack
from analysis.video import Frame


def track_shaft(frames: Iterable[Frame], pose: PoseSequence, *, capture: Capture) -> ShaftTrack:
    """Hands only: nothing is claimed about the club until it is seen."""
    wrists = (LANDMARK["wrist_left"], LANDMARK["wrist_right"])
    unseen = np.full(len(pose), np.nan)
    return ShaftTrack(
        time_s=pose.time_s,
        frame=pose.frame,
        angle_deg=unseen,
        sd_deg=unseen,
        grip_px=pose.xy_px[:, wrists].mean(axis=1),
        length_px=unseen,
        head_px=np.full((len(pose), 2), np.nan),
        ball_px=np.full(2, np.nan),
        ball_gone_s=float("nan"),
    )
