"""What a joint put right by hand says of the figures.

The network's errors on joints and figures hang together: where a hip was drawn 2 cm too
far out, the pelvis was read as turned too little. On golfers it never saw these errors
have a joint covariance C. A person who moves joints j in the picture tells their errors,
up to the click's own R, and the figures f follow by the Gaussian conditional

    f += C_fj (C_jj + R)^-1 step,    C_ff -= C_fj (C_jj + R)^-1 C_jf

which takes microseconds and needs no picture.

C is of many golfers; this one may be read better or worse. Errors of joints and of figures are
large on the same films (habitual swings against motions without habits: both by 2.1), so for
each figure C is scaled to the spread that is told of it here, and R, a hand's own, is not.
Unscaled, a habitual pelvis at the top seen down the line was told twice as sure as it was.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from analysis.core.corrector import FIGURES, PAIRS
from analysis.core.measures import Reading, Readings
from analysis.core.pose import JOINT, JOINTS, Array

# A careful click on a joint under cloth, percent of stature (about 1.2 cm).
CLICK_SD_PCT = 0.7
# Steps beyond so many of the network's own errors are mistakes of another kind; the
# figures follow them no further.
LARGEST_STEP = 3.5
LEAST_SHRINK = 0.25
_ROUNDS = 25
N_TOLD = len(FIGURES) - 2  # the camera's angles are not conditioned
N_JOINTS = 2 * len(JOINTS)

Steps = Mapping[str, Array]


@dataclass(frozen=True)
class Conditioned:
    """Change of the figures at one event.

    Parameters
    ----------
    shift : ndarray, shape (N_TOLD,)
        To be added to the figures, lengths in percent of stature.
    before, after : ndarray, shape (N_TOLD, N_TOLD)
        Covariance of the figures' errors.
    """

    shift: Array
    before: Array
    after: Array

    def told(self, mix: Array) -> tuple[float, float]:
        """Shift and factor on the standard deviation of a sum of figures.

        Parameters
        ----------
        mix : ndarray, shape (N_TOLD,)
            Weight of each figure in the sum.
        """
        share = float(mix @ self.after @ mix) / max(float(mix @ self.before @ mix), 1e-12)
        return float(mix @ self.shift), max(float(np.sqrt(max(share, 0.0))), LEAST_SHRINK)


def condition(here: Steps, covariance: Array, *, at_address: Steps | None = None) -> Conditioned:
    """Shift and spread of the figures at an event after joints were moved.

    Parameters
    ----------
    here : mapping of joint name to ndarray of shape (2,)
        Moved at the event: from the drawn to the right place in the picture, x right
        and y down, in percent of the person's drawn stature.
    covariance : ndarray, shape (N, N)
        Of the errors: figures, joints at the event and, except for the address itself,
        joints at address, which travels are told against.
    at_address : mapping, optional
        Moved at address.

    Raises
    ------
    ValueError
        For a joint that does not exist.
    """
    steps = [(N_TOLD, here)]
    if at_address and len(covariance) > N_TOLD + N_JOINTS:
        steps.append((N_TOLD + N_JOINTS, at_address))
    moved = [(start, name, step) for start, part in steps for name, step in part.items()]
    unknown = sorted({name for _, name, _ in moved} - set(JOINTS))
    if unknown:
        raise ValueError(f"no such joint: {', '.join(unknown)}")
    c = np.asarray(covariance, float)
    before = c[:N_TOLD, :N_TOLD]
    if not moved:
        return Conditioned(np.zeros(N_TOLD), before, before)
    rows = [start + 2 * JOINT[name] + axis for start, name, _ in moved for axis in (0, 1)]
    own, cross = c[np.ix_(rows, rows)], c[:N_TOLD][:, rows]
    limit = LARGEST_STEP * np.sqrt(np.diag(own))
    step = np.clip(np.concatenate([np.asarray(s, float) for *_, s in moved]), -limit, limit)
    gain = np.linalg.solve(own + CLICK_SD_PCT**2 * np.eye(len(rows)), cross.T).T
    return Conditioned(gain @ step, before, before - gain @ cross.T)


def left_open(
    figure: str,
    sd: float,
    covariance: Array,
    *,
    here: Collection[str],
    at_address: Collection[str] = (),
) -> float:
    """Standard deviation that a figure will have once joints are put right.

    How far they will have to be moved does not matter: the spread shrinks by what a careful
    click tells, wherever it goes.

    Parameters
    ----------
    figure : str
        One of `FIGURES`, the camera's angles left out.
    sd : float
        As read, before anybody moved anything.
    covariance : ndarray, shape (N, N)
        As for `condition`.
    here, at_address : collection of str
        Names of joints, put right at the event and at address.
    """
    still, standing = ({name: np.zeros(2) for name in part} for part in (here, at_address))
    mix = np.eye(N_TOLD)[FIGURES.index(figure)]
    own = sd**2 / _variance(mix, covariance) * covariance
    return sd * condition(still, own, at_address=standing).told(mix)[1]


def as_read(
    figure: str,
    sd: float,
    covariance: Array,
    *,
    here: Collection[str],
    at_address: Collection[str] = (),
) -> float:
    """Standard deviation before joints were put right, from the one after: undoes `left_open`."""
    before = sd
    for _ in range(_ROUNDS):  # narrows down: a surer figure keeps the larger share
        after = left_open(figure, before, covariance, here=here, at_address=at_address)
        before *= sd / after
    return before


def _variance(mix: Array, covariance: Array) -> float:
    return max(float(mix @ covariance[:N_TOLD, :N_TOLD] @ mix), 1e-12)


def by_hand(
    readings: Readings,
    steps: Mapping[str, Steps],
    *,
    covariance: Mapping[str, Array],
    stature_cm: float,
) -> Readings:
    """Readings after joints were put right at some events.

    Parameters
    ----------
    readings : dict
        As measured; not modified.
    steps : mapping of event to steps
        See `condition`.
    covariance : mapping of event to ndarray
    stature_cm : float
    """
    return {
        key: _updated(key, reading, steps, covariance, stature_cm)
        for key, reading in readings.items()
    }


def _updated(
    key: tuple[str, str],
    reading: Reading,
    steps: Mapping[str, Steps],
    covariance: Mapping[str, Array],
    stature_cm: float,
) -> Reading:
    id, event = key
    parts = PAIRS.get(id, ((id, event),))
    if isinstance(reading, str) or any(name not in FIGURES[:N_TOLD] for name, _ in parts):
        return reading
    mixes: dict[str, Array] = {}
    for sign, (name, when) in zip((1.0, -1.0), parts, strict=False):
        mixes.setdefault(when, np.zeros(N_TOLD))[FIGURES.index(name)] += sign
    known = {when: mix for when, mix in mixes.items() if when in covariance}
    if not known or not (steps.keys() & {*known, "address"}):
        return reading
    unit = stature_cm / 100 if id.endswith("_cm") else 1.0
    usual = sum(_variance(mix, covariance[when]) for when, mix in known.items())
    scale = (reading[1] / unit) ** 2 / usual
    told = [
        condition(
            steps.get(when, {}),
            scale * covariance[when],
            at_address=None if when == "address" else steps.get("address", {}),
        ).told(mix)
        for when, mix in known.items()
    ]
    # a difference over two events: each carries half of the spread
    keep = np.sqrt(np.mean([shrink**2 for _, shrink in told]))
    # differences are told as first minus second: the sign is already in the mix
    return reading[0] + unit * sum(shift for shift, _ in told), reading[1] * float(keep)
