"""What putting both hips or shoulders right by hand would bring, where it pays.

Errors of joints and of turn hang together (`analysis.core.fit`), so what is left of a turn's
spread once a person has put the pair right is known before anybody touches the picture.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext_lazy as _l

from analysis import weights
from analysis.core.fit import as_read, left_open
from analysis.core.pose import MEASURED_VIEWS
from analysis.core.put_right import REACH_S

_LINE_OF = {"pelvis_turn_deg": "hip", "shoulder_turn_deg": "shoulder"}
# It pays where what is told, two standard deviations, loses a tenth and two degrees.
_LARGEST_SHARE, _LEAST_DEG = 0.9, 2.0

_WORDS = {
    ("hip", False): _l("Put the hips right: ± %(now)s° becomes ± %(then)s°"),
    ("hip", True): _l("Put the hips right at address too: ± %(now)s° becomes ± %(then)s°"),
    ("shoulder", False): _l("Put the shoulders right: ± %(now)s° becomes ± %(then)s°"),
    ("shoulder", True): _l(
        "Put the shoulders right at address too: ± %(now)s° becomes ± %(then)s°"
    ),
}


def put_beside(
    moment: dict[str, Any],
    moments: Sequence[Mapping[str, Any]],
    corrections: Sequence[Mapping[str, Any]],
    *,
    view: str,
) -> None:
    """Put beside each turn of a moment what the room may offer, as `offer`."""
    times = {m["event"]: m["time_s"] for m in moments if m.get("time_s") is not None}
    for figure in moment["figures"]:
        figure["offer"] = put_right_offer(figure, view=view, times=times, corrections=corrections)


def put_right_offer(
    figure: Mapping[str, Any],
    *,
    view: str,
    times: Mapping[str, float],
    corrections: Sequence[Mapping[str, Any]],
) -> dict[str, Any] | None:
    """Which joints to put right, when, and what the figure's spread then becomes.

    First the pair at the figure's own moment; once it is right there, at address, against
    which turn is told.

    Parameters
    ----------
    figure : mapping
        `id`, `event`, `value`, and `uncertainty`, one standard deviation in degrees.
    times : mapping of str to float
        When the repetition's events are, seconds.
    corrections : sequence of mapping
        `target` and `time_s` of what stands corrected.

    Returns
    -------
    dict or None
        `joints` in the order in which they are asked for, `time_s`, `words`; None where
        nothing is to be won.
    """
    line, event = _LINE_OF.get(figure["id"]), figure["event"]
    if line is None or figure["value"] is None or view not in MEASURED_VIEWS:
        return None
    covariance = weights.covariances(view).get(event)
    if covariance is None or event not in times or "address" not in times:
        return None
    here, standing = (_placed(times[when], corrections) for when in (event, "address"))
    sd = figure["uncertainty"]
    read = as_read(figure["id"], sd, covariance, here=here, at_address=standing)
    pair = [f"{line}_lead", f"{line}_trail"]
    later = here.issuperset(pair)
    missing = [joint for joint in pair if joint not in (standing if later else here)]
    if not missing:
        return None
    here, standing = (here, standing.union(pair)) if later else (here.union(pair), standing)
    then = left_open(figure["id"], read, covariance, here=here, at_address=standing)
    if then > _LARGEST_SHARE * sd or 2 * (sd - then) < _LEAST_DEG:
        return None
    told = {"now": f"{2 * sd:.0f}", "then": f"{2 * then:.0f}"}
    return {
        "joints": " ".join(missing),
        "time_s": times["address" if later else event],
        "words": _WORDS[line, later] % told,
    }


def _placed(time_s: float, corrections: Sequence[Mapping[str, Any]]) -> set[str]:
    """Joints put right so near to a moment that its figures follow them."""
    return {
        row["target"].removeprefix("joint:")
        for row in corrections
        if row["target"].startswith("joint:") and abs(row["time_s"] - time_s) < REACH_S
    }
