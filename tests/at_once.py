"""One act by many threads in the same moment, as of somebody who taps again and again."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import connections


def at_once(act: Callable[[], Any], times: int = 8) -> list[BaseException]:
    """Call `act` in so many threads; what they raised."""
    gate = threading.Barrier(times)
    raised: list[BaseException] = []

    def run() -> None:
        try:
            gate.wait()
            act()
        except Exception as error:  # noqa: BLE001  a thread's errors are told by the test
            raised.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run) for _ in range(times)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised
