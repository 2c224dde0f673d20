"""Films of a stick golfer: swings of many manners, with what else hands do before and between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.pose import LANDMARK, PoseSequence
from tests.analysis.stick import PER_M, STATURE_M, pose_of, swing_hands

HOME = np.array([0.3, 0.78])
STATURE_PX = PER_M * STATURE_M


@dataclass(frozen=True)
class Film:
    """Landmarks of every frame, and when each swing strikes."""

    pose: PoseSequence
    impacts: tuple[float, ...]


def film(seed: int) -> Film:
    """None to three swings: slow or quick, full or short, after waggles and broken-off backswings.

    Rates 30 to 240, frames dropped, landmarks off by 0.3 to 1.2 % of stature, a hand lost for
    a moment.
    """
    rng = np.random.default_rng([17, seed])
    rate = float(rng.choice([30, 50, 60, 120, 240]))
    parts, impacts = [_rest(rng, rate, float(rng.choice([0.05, 0.3, 0.3])))], []
    start = len(parts[0]) / rate
    for _ in range(int(rng.choice([0, 1, 1, 1, 1, 2, 3]))):
        for before in _before(rng, rate):
            parts.append(before)
            start += len(before) / rate
        swing, impact = _swing(rng, rate)
        impacts.append(start + impact)
        lowered = _way(rng.uniform(0.7, 1.6), swing[-1], HOME, rate)
        rest = _rest(rng, rate, 0.4)
        parts += [swing, lowered, rest]
        start += (len(swing) + len(lowered) + len(rest)) / rate
    if not impacts:
        parts += _before(rng, rate) + _before(rng, rate)
        return Film(_seen(rng, np.concatenate(parts), _times(parts, rate)), ())
    last = 0
    if rng.random() < 0.5:  # stopped at the finish, or on the way to it
        last = len(parts[-1]) + len(parts[-2])
        last += round(rng.uniform(0, 0.5) * rate)
    hands = np.concatenate(parts)[: -last or None]
    return Film(_seen(rng, hands, _times([hands], rate)), tuple(impacts))


def _times(parts: list[np.ndarray], rate: float) -> np.ndarray:
    return np.arange(sum(map(len, parts))) / rate


def _swing(rng: np.random.Generator, rate: float) -> tuple[np.ndarray, float]:
    back = rng.uniform(0.45, 1.7)
    _, hands, truth = swing_hands(
        still_s=0.0,
        back_s=back,
        down_s=back * rng.uniform(0.25, 0.5),
        follow_s=rng.uniform(0.3, 0.6),
        rest_s=rng.uniform(0.4, 1.5),
        rate=rate,
        rise_m=rng.uniform(0.38, 0.95),
    )
    return hands, truth["impact"]


def _before(rng: np.random.Generator, rate: float) -> list[np.ndarray]:
    """Waggles, a look at the target, now and then a backswing broken off."""
    out = []
    for _ in range(int(rng.choice([0, 0, 1, 2]))):
        to = np.add(HOME, (rng.uniform(-0.2, 0.0), rng.uniform(0.02, 0.14)))
        for a, b in ((HOME, to), (to, HOME)):
            out.append(_way(rng.uniform(0.15, 0.5), a, b, rate))
    if rng.random() < 0.15:
        to = np.add(HOME, (-0.3, rng.uniform(0.2, 0.5)))
        out += [_way(0.7, HOME, to, rate), _way(rng.uniform(0.9, 1.5), to, HOME, rate)]
    return [*out, _rest(rng, rate, 0.35)]


def _way(seconds: float, a: np.ndarray, b: np.ndarray, rate: float) -> np.ndarray:
    share = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, max(round(seconds * rate), 2)))
    return a + share[:, None] * (b - a)


def _rest(rng: np.random.Generator, rate: float, least_s: float) -> np.ndarray:
    n = max(round(rng.uniform(least_s, least_s + 1.5) * rate), 2)
    sway = 0.004 * np.sin(np.linspace(0, rng.uniform(1, 6), n))
    return HOME + np.stack([sway, sway / 2], axis=1)


def _seen(rng: np.random.Generator, hands: np.ndarray, time_s: np.ndarray) -> PoseSequence:
    """As a network would see them: noise, dropped frames, a lost hand."""
    pose = pose_of(hands, time_s=time_s, apart=rng.uniform(0.02, 0.11))
    xy = pose.xy_px + rng.normal(0, rng.uniform(0.003, 0.012) * STATURE_PX, pose.xy_px.shape)
    sure = pose.confidence.copy()
    for _ in range(int(rng.integers(0, 4))):
        at = int(rng.integers(0, len(time_s)))
        rows = slice(at, at + int(rng.integers(1, 5)))
        side = rng.choice(["left", "right"])
        for part in ("wrist", "pinky", "index", "thumb"):
            xy[rows, LANDMARK[f"{part}_{side}"]] += rng.uniform(-0.6, 0.6, 2) * STATURE_PX
            sure[rows, LANDMARK[f"{part}_{side}"]] = 0.3
    kept = np.ones(len(time_s), bool)
    drop = int(rng.choice([0, 0, 4, 11]))
    if drop:
        kept[drop - 1 :: drop] = False
    kept &= rng.random(len(time_s)) > rng.choice([0.0, 0.0, 0.03])
    rows = np.flatnonzero(kept)
    return PoseSequence(time_s[rows], np.arange(len(rows)), xy[rows], sure[rows], pose.size_px)
