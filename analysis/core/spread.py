"""How sure a figure is, from what the network says of itself and how strange the pose is.

The network's own spread has the right order and not the right size, and a pose unlike the
habitual ones errs more than it says. On motions and bodies that the members had never seen,
the error was measured for each figure against x = ln(raw) + power · ln(max(1, strangeness));
`spread/ID/EVENT` of the weights holds ln(error) at some x, `power/ID/EVENT` the power.

`most/ID/EVENT` is the spread above which a figure is mostly the average of all people: more
than half of the variance between them would be left open. It is not told then.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analysis.core.corrector import Weights
from analysis.core.pose import Array

# Of the standard deviation between people, what a figure may leave open: half of the variance.
OPEN_SHARE = math.sqrt(0.5)


def evidence(raw: Array, strange: Array, power: float) -> Array:
    """What the error is told from: both of shape (N,), raw above zero."""
    return np.asarray(np.log(raw) + power * np.log(np.maximum(strange, 1.0)))


def along(x: Array, knots: Array) -> Array:
    """Standard deviation at x by the knots (2, K) of x and ln(error).

    Beyond the last knot it grows as x does; before the first it stays.
    """
    beyond = np.maximum(x - knots[0, -1], 0.0)
    return np.asarray(np.exp(np.interp(x, knots[0], knots[1]) + beyond))


def spread_of(
    raw: float, strange: float, weights: Weights, name: str, *, level: bool, otherwise: float
) -> float:
    """One standard deviation of a figure, in the unit of `raw`.

    Parameters
    ----------
    raw : float
        The network's own.
    strange : float
        `corrector.strangeness` at the events it hangs on, the largest.
    name : str
        `ID/EVENT`.
    level : bool
        The picture stood upright.
    otherwise : float
        Factor on `raw` where the weights know nothing of this figure.
    """
    for kind in ("spread_level", "spread") if level else ("spread",):
        if f"{kind}/{name}" in weights:
            knots = np.asarray(weights[f"{kind}/{name}"], float)
            power = float(weights[f"power/{name}"])
            x = evidence(np.array([max(raw, 1e-9)]), np.array([strange]), power)
            return float(along(x, knots)[0])
    return otherwise * raw * max(1.0, strange)


def mostly_average(spread: Array | float, weights: Weights, name: str) -> NDArray[np.bool_]:
    """Whether a figure so unsure tells little more than what is usual."""
    return np.asarray(np.asarray(spread) > float(weights.get(f"most/{name}", math.inf)))
