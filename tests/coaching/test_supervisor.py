"""Children are started again when they die, and none outlives its supervisor."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from coaching.supervisor import MAX_FAILURES, Child, ChildKeepsStopping, backoff_s

SLEEP = [sys.executable, "-c", "import time; time.sleep(60)"]
FAIL = [sys.executable, "-c", "raise SystemExit(3)"]
# Starts a child of its own, writes both numbers, and does not stop when asked to.
STUBBORN = """
import os, signal, subprocess, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
inner = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
with open(sys.argv[1] + ".part", "w") as file:
    file.write(f"{os.getpid()} {inner.pid}")
os.rename(sys.argv[1] + ".part", sys.argv[1])
time.sleep(60)
"""


def wait_until(condition: Callable[[], bool], *, patience_s: float = 20.0) -> None:
    until = time.monotonic() + patience_s
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


def is_running(pid: int) -> bool:
    """Whether a process runs; one that ended and waits to be collected does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_backoff_doubles() -> None:
    assert [backoff_s(failures) for failures in (1, 2, 3, 4)] == [1, 2, 4, 8]


def test_a_child_that_dies_is_started_again_after_its_wait() -> None:
    said: list[str] = []
    child = Child("worker", SLEEP)
    child.start()
    try:
        first = child.process
        assert first is not None
        os.kill(first.pid, signal.SIGKILL)
        first.wait()
        child.tend(said.append)
        assert said == ["The worker process was ended by SIGKILL; it starts again in 1 s."]
        child.tend(said.append)
        assert child.process is None, "started before its wait was over"
        child.start_after = 0
        child.tend(said.append)
        assert child.process is not None and child.process.pid != first.pid
    finally:
        child.stop()


def test_a_child_that_cannot_start_stops_the_supervisor_visibly() -> None:
    said: list[str] = []
    child = Child("web", FAIL)

    def stop_and_tend() -> None:
        child.start()
        assert child.process is not None
        child.process.wait()
        child.tend(said.append)

    for _ in range(MAX_FAILURES - 1):
        stop_and_tend()
    with pytest.raises(ChildKeepsStopping, match="The web process stopped 5 times"):
        stop_and_tend()
    assert said[0] == "The web process stopped with exit code 3; it starts again in 1 s."


def test_failures_are_forgotten_once_a_child_has_settled() -> None:
    child = Child("web", FAIL)
    child.failures = MAX_FAILURES - 1
    child.start()
    assert child.process is not None
    child.process.wait()
    child.started_at -= 60
    child.tend(lambda line: None)
    assert child.failures == 1


def test_stopping_kills_a_stubborn_child_with_its_own_children(tmp_path: Path) -> None:
    told = tmp_path / "pids"
    child = Child("worker", [sys.executable, "-c", STUBBORN, str(told)], grace_s=0.2)
    child.start()
    wait_until(told.exists)
    pids = [int(pid) for pid in told.read_text().split()]
    assert len(pids) == 2 and all(map(is_running, pids))
    child.stop()
    wait_until(lambda: not any(map(is_running, pids)))


def test_what_a_dead_child_leaves_behind_is_cleared_before_its_next_start(tmp_path: Path) -> None:
    told = tmp_path / "pids"
    child = Child("worker", [sys.executable, "-c", STUBBORN, str(told)])
    child.start()
    wait_until(told.exists)
    leader, inner = (int(pid) for pid in told.read_text().split())
    os.kill(leader, signal.SIGKILL)
    assert child.process is not None
    child.process.wait()
    assert is_running(inner)
    child.tend(lambda line: None)
    wait_until(lambda: not is_running(inner))


@pytest.mark.skipif(sys.platform != "linux", reason="asks the kernel of Linux")
def test_children_end_when_the_supervisor_itself_is_killed(tmp_path: Path) -> None:
    told = tmp_path / "pid"
    script = (
        "import sys, time\n"
        "from coaching.supervisor import Child\n"
        f"child = Child('worker', {SLEEP!r})\n"
        "child.start()\n"
        "open(sys.argv[1] + '.part', 'w').write(str(child.process.pid))\n"
        "import os; os.rename(sys.argv[1] + '.part', sys.argv[1])\n"
        "time.sleep(60)\n"
    )
    supervisor = subprocess.Popen([sys.executable, "-c", script, str(told)])
    try:
        wait_until(told.exists)
        pid = int(told.read_text())
        assert is_running(pid)
    finally:
        supervisor.kill()
        supervisor.wait()
    wait_until(lambda: not is_running(pid))


def test_a_stop_that_python_drops_is_still_a_stop() -> None:
    script = (
        "import contextlib, os, signal\n"
        "from coaching.supervisor import pause, stop_on_signals\n"
        "stop_on_signals()\n"
        "pause(0)\n"
        "class Dropped:\n"
        "    def __del__(self):\n"
        "        os.kill(os.getpid(), signal.SIGTERM)\n"
        "        for _ in range(1000): pass\n"
        "dropped = Dropped()\n"
        "del dropped\n"
        "print('went on')\n"
        "pause(60)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.stdout == "went on\n"
    assert "Exception ignored" in done.stderr
    assert done.stderr.rstrip().endswith("KeyboardInterrupt")
    assert done.returncode != 0
