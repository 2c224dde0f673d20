"""Keep a few child processes alive, and leave none behind.

Knows nothing of what the children do. Each child leads a process group of its own, so that a
Ctrl-C at the terminal reaches the supervisor alone and the children are stopped in order, and so
that what a dead child leaves behind can be cleared as a group.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

SETTLED_S = 10.0  # A child that lived this long did start; its next failure counts from one.
MAX_FAILURES = 5
STOPPING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
_PR_SET_PDEATHSIG = 1


_stop_asked = False


def stop_on_signals() -> None:
    """Turn Ctrl-C, SIGTERM and a closed terminal into a `KeyboardInterrupt` that is not lost.

    Python drops an exception that a handler raises inside a destructor or a weak reference's
    callback, as during an import; what `pause` reads stays.
    """
    for number in STOPPING:
        signal.signal(number, _ask_to_stop)


def _ask_to_stop(number: int, frame: object) -> None:
    global _stop_asked
    _stop_asked = True
    raise KeyboardInterrupt


def pause(seconds: float) -> None:
    """Sleep, unless a stop was asked for: then raise `KeyboardInterrupt`."""
    if _stop_asked:
        raise KeyboardInterrupt
    time.sleep(seconds)


class ChildKeepsStopping(Exception):
    """A child stopped `MAX_FAILURES` times right after its start; the message says which."""


def backoff_s(failures: int) -> float:
    """Seconds to wait before a start that follows `failures` failures in a row: 1, 2, 4, 8."""
    return float(2 ** (failures - 1))


@dataclass
class Child:
    """One supervised process.

    `grace_s` is how long it may take to stop after SIGTERM before its group is killed.
    """

    name: str
    command: Sequence[str]
    env: Mapping[str, str] | None = None
    pass_fds: Sequence[int] = ()
    grace_s: float = 5.0
    failures: int = field(default=0, init=False)
    started_at: float = field(default=0.0, init=False)
    start_after: float = field(default=0.0, init=False)
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    def start(self) -> None:
        self.started_at = time.monotonic()
        self.process = subprocess.Popen(
            self.command,
            env=self.env,
            pass_fds=self.pass_fds,
            start_new_session=True,
            preexec_fn=_die_with_parent,
        )

    def tend(self, say: Callable[[str], None]) -> None:
        """Start the child again when it stopped and its wait is over.

        Raises
        ------
        ChildKeepsStopping
            After `MAX_FAILURES` failures in a row.
        """
        now = time.monotonic()
        if self.process is None:
            if now >= self.start_after:
                self.start()
            return
        code = self.process.poll()
        if code is None:
            return
        self._signal(signal.SIGKILL)  # What it left behind would do its work a second time.
        self.process = None
        self.failures = 1 if now - self.started_at > SETTLED_S else self.failures + 1
        if self.failures >= MAX_FAILURES:
            raise ChildKeepsStopping(
                f"The {self.name} process stopped {self.failures} times at its start."
            )
        wait_s = backoff_s(self.failures)
        self.start_after = now + wait_s
        say(f"The {self.name} process {_ending(code)}; it starts again in {wait_s:g} s.")

    def stop(self) -> None:
        """Ask the process to stop, wait `grace_s`, then kill its whole group."""
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(self.grace_s)
        self._signal(signal.SIGKILL)
        self.process.wait()
        self.process = None

    def _signal(self, number: signal.Signals) -> None:
        assert self.process is not None
        with contextlib.suppress(ProcessLookupError):  # The whole group is gone already.
            os.killpg(self.process.pid, number)


def supervise(children: Sequence[Child], say: Callable[[str], None]) -> None:
    """Tend `children` for ever; a signal handler or `ChildKeepsStopping` ends it."""
    while True:
        for child in children:
            child.tend(say)
        pause(0.25)


@contextlib.contextmanager
def supervised() -> Iterator[list[Child]]:
    """A list for the children that are started; at the end all are stopped, the last one first.

    The stopping itself is not interrupted: it takes no longer than each child's `grace_s`.
    """
    children: list[Child] = []
    try:
        yield children
    finally:
        handlers = {number: signal.signal(number, signal.SIG_IGN) for number in STOPPING}
        for child in reversed(children):
            child.stop()
        for number, handler in handlers.items():
            signal.signal(number, handler)


def _ending(code: int) -> str:
    return (
        f"was ended by {signal.Signals(-code).name}"
        if code < 0
        else f"stopped with exit code {code}"
    )


def _die_with_parent() -> None:
    """Between fork and exec: have the kernel end the child if the supervisor itself is killed."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)
