"""Which moment of one clip belongs to which of the other, as `static/js/review/align.js`. Pure."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import Any

from coaching.review.film.script import State
from coaching.review.film.strokes import Data, nearest_frame

Pair = tuple[str, float, float]  # an event, and its time in each clip, seconds


def shared_events(data: Data, repetition: int, other: Data) -> list[Pair]:
    """Events that both have, in order; two at one time or in another order cannot be used."""
    there = _times(other, 0)
    pairs: list[Pair] = []
    for event, time_s in sorted(_times(data, repetition).items(), key=lambda row: row[1]):
        if event not in there:
            continue
        if pairs and (time_s <= pairs[-1][1] or there[event] <= pairs[-1][2]):
            continue
        pairs.append((event, time_s, there[event]))
    return pairs


def _times(data: Data, repetition: int) -> dict[str, float]:
    reps: Sequence[Mapping[str, Any]] = data["repetitions"]
    events = reps[repetition]["events"] if repetition < len(reps) else {}
    return {name: row["time_s"] for name, row in events.items() if row["time_s"] is not None}


def at_event(pairs: Sequence[Pair], event: str, time_s: float) -> float:
    """Both laid over each other at one event."""
    return next((time_s + b - a for name, a, b in pairs if name == event), time_s)


def stretched(pairs: Sequence[Pair], time_s: float) -> float:
    """Every stretch between shared events made equally long."""
    if not pairs:
        return time_s
    starts = [a for _name, a, _b in pairs]
    number = bisect_right(starts, time_s)
    if number in (0, len(pairs)):
        _name, a, b = pairs[0 if number == 0 else -1]
        return time_s + b - a
    (_n, a, b), (_m, a_next, b_next) = pairs[number - 1], pairs[number]
    return b + (time_s - a) / (a_next - a) * (b_next - b)


def frame_beside(state: State, time_s: float, data: Data, other: Data) -> int:
    """The frame of the clip beside, while the one in hand stands at `time_s`."""
    pairs = shared_events(data, state.repetition, other)
    if state.how == "stretched":
        there = stretched(pairs, time_s)
    else:
        there = at_event(pairs, state.how, time_s)
    return nearest_frame(other["frame_times_s"], there)
