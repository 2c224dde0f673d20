"""What a walk-through shows at a moment: the newest of everything that was done. Pure.

The same as `static/js/review/script.js`. Events come from a browser: whatever cannot be read is
left out, and numbers are held within what can be shown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from coaching.review.film.geometry import WHOLE, View

SLOWEST, FASTEST = 0.05, 2.0
LIES = ("side", "wipe", "ghost")


@dataclass(frozen=True)
class State:
    """How everything stands. `frame` was put at `frame_at`; `loop` is its first and last frame.

    `fit` belongs to `view`: how much of the coach's window the whole picture took. `beside` is
    the clip that was compared, by its key, moved together as `how` says.
    """

    clip: int
    frame: int = 0
    frame_at: float = 0.0
    playing: bool = False
    speed: float = 1.0
    bright: float = 1.0
    view: View = WHOLE
    fit: tuple[float, float] = (1.0, 1.0)
    repetition: int = 0
    loop: tuple[int, int] | None = None
    figure: Mapping[str, Any] | None = None
    overlays: frozenset[str] = field(default_factory=frozenset)
    marks: frozenset[str] = field(default_factory=frozenset)
    beside: int | None = None
    how: str = "stretched"
    lie: str = "side"
    share: float = 0.5
    then: Mapping[str, Any] | None = None  # the figure drawn on the clip beside


class Script:
    """A walk-through's events, asked in order of time."""

    def __init__(self, events: Sequence[Mapping[str, Any]], clip: int) -> None:
        self._events = [event for event in events if isinstance(event, Mapping)]
        self._next = 0
        self._state = State(clip)

    def at(self, time_s: float) -> State:
        """The state at `time_s`, seconds of sound; never an earlier one than was asked last."""
        while self._next < len(self._events):
            event = self._events[self._next]
            if (_real(event.get("t")) or 0.0) > time_s + 1e-9:
                break
            self.after(event)
            self._next += 1
        return self._state

    def after(self, event: Mapping[str, Any]) -> State:
        """The state after one event more, whenever it was."""
        self._state = after(self._state, event)
        return self._state


def after(state: State, event: Mapping[str, Any]) -> State:
    """The state after one event; as it was when the event cannot be read."""
    time_s, do, value = _real(event.get("t")) or 0.0, event.get("do"), event.get("value")
    if do in ("frame", "play"):
        frame = _whole(event.get("frame"))
        if do == "play":
            state = replace(state, playing=bool(event.get("on")))
        return state if frame is None else replace(state, frame=frame, frame_at=time_s)
    if do == "overlay":
        return replace(state, overlays=_set(state.overlays, event.get("id"), event.get("on")))
    if do == "mark":
        return replace(state, marks=_set(state.marks, event.get("id"), not event.get("gone")))
    if isinstance(do, str) and do in _READ:
        read = _READ[do](value, event)
        return state if read is None else replace(state, **read)
    return state


def frame_of(state: State, time_s: float, times: np.ndarray) -> int:
    """The frame that is shown at `time_s`: where it was put, and what has played since.

    Parameters
    ----------
    times : ndarray, shape (frames,)
        When each frame of the clip is shown, seconds.
    """
    if len(times) == 0:
        return 0
    frame = min(state.frame, len(times) - 1)
    if not state.playing:
        return frame
    played = float(times[frame]) + (time_s - state.frame_at) * state.speed
    if state.loop is not None:
        first, last = (float(times[min(i, len(times) - 1)]) for i in state.loop)
        if last > first and played > last:
            played = first + (played - first) % (last - first)
    return max(int(np.searchsorted(times, played + 1e-6, side="right")) - 1, 0)


def _set(known: frozenset[str], name: Any, on: Any) -> frozenset[str]:
    return known | {str(name)} if on else known - {str(name)}


def _view(value: Any, event: Mapping[str, Any]) -> dict[str, Any] | None:
    parts = _numbers(value, "scale", "x", "y")
    if parts is None:
        return None
    fit = event.get("fit")
    pair = [_real(part) for part in fit] if isinstance(fit, list) and len(fit) == 2 else []
    held = [min(max(part, 0.05), 1.0) for part in pair if part is not None]
    scale, x, y = parts
    view = View(min(max(scale, 1.0), 8.0), min(max(x, -8.0), 8.0), min(max(y, -8.0), 8.0))
    return {"view": view, "fit": tuple(held) if len(held) == 2 else (1.0, 1.0)}


def _loop(value: Any, _event: Mapping[str, Any]) -> dict[str, Any] | None:
    if value is None:
        return {"loop": None}
    ends = [_whole(end) for end in value] if isinstance(value, list) else []
    if len(ends) != 2 or ends[0] is None or ends[1] is None:
        return None
    return {"loop": (ends[0], ends[1])}


def _clip(value: Any, _event: Mapping[str, Any]) -> dict[str, Any] | None:
    clip = _whole(value)
    # Another clip begins with its first swing.
    return None if clip is None else {"clip": clip, "repetition": 0, "loop": None}


def _figure(name: str) -> Any:
    def read(value: Any, _event: Mapping[str, Any]) -> dict[str, Any]:
        drawable = isinstance(value, Mapping) and isinstance(value.get("id"), str)
        return {name: value if drawable else None}

    return read


def _beside(value: Any, event: Mapping[str, Any]) -> dict[str, Any]:
    how = event.get("how")
    return {"beside": _whole(value), "how": how if isinstance(how, str) else "stretched"}


def _number(name: str, low: float, high: float) -> Any:
    def read(value: Any, _event: Mapping[str, Any]) -> dict[str, Any] | None:
        number = _real(value)
        return None if number is None else {name: min(max(number, low), high)}

    return read


_READ: dict[Any, Any] = {
    "speed": _number("speed", SLOWEST, FASTEST),
    "bright": _number("bright", 0.25, 4.0),
    "share": _number("share", 0.0, 1.0),
    "repetition": lambda value, _event: (
        None if (number := _whole(value)) is None else {"repetition": number, "loop": None}
    ),
    "view": _view,
    "loop": _loop,
    "clip": _clip,
    "figure": _figure("figure"),
    "then": _figure("then"),
    "beside": _beside,
    "lie": lambda value, _event: {"lie": value} if value in LIES else None,
}


def _real(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None


def _whole(value: Any) -> int | None:
    number = _real(value)
    return None if number is None or not 0 <= number < 2**53 else int(number)


def _numbers(value: Any, *names: str) -> list[float] | None:
    read = [_real(value.get(name)) for name in names] if isinstance(value, Mapping) else [None]
    return [part for part in read if part is not None] if None not in read else None
