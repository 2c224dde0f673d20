"""An error parted: what all films of a person's swing share, and what belongs to the film."""

from __future__ import annotations

import math

from analysis import weights
from analysis.core.pose import MEASURED_VIEWS


def shared_share(measure: str, event: str, view: str) -> float | None:
    """Share of a figure's variance of error that comes back in every film of one swing.

    Measured on rendered people never seen, one swing each in four films of one view: other
    clothes, cameras, light and places. A difference of two films of one view is uncertain
    by sqrt(1 - share) of each u; a mean over films by sqrt(share + (1 - share) / n) of u.

    Returns
    -------
    float or None
        0 to 0.95; None for a figure or view that was not measured so: count it as 0 in a
        difference and as 1 in a mean, which errs on the wide side.
    """
    if view not in MEASURED_VIEWS:
        return None
    film = weights.load(view).get(f"film/{measure}/{event}")
    return None if film is None else 1.0 - float(film)


def difference_u(measure: str, event: str, view: str, first_u: float, second_u: float) -> float:
    """Standard deviation of the difference of one figure in two films of one view, had the
    swing not changed: what a change is to be told from. The size of a true change is known
    less well, since a changed swing is misread otherwise (`make bench ONLY=motions`)."""
    own = 1.0 - (shared_share(measure, event, view) or 0.0)
    return math.sqrt(own) * math.hypot(first_u, second_u)
