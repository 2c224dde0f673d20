"""What a worker's child process may use: a hostile clip ends its own process, nothing else.

Time is limited by the queue's own soft and hard limits.
"""

from __future__ import annotations

import resource

from django.conf import settings


def hold_this_process() -> None:
    """Cap the memory of this process at `WORKER_MEMORY_MIB`; 0 leaves it as it is.

    Beyond it an allocation fails (`MemoryError`), and the run ends as the clip's fault.
    Measured: a check of a 720p clip with the pose network asks for 1.9 GiB of addresses.
    """
    most = settings.WORKER_MEMORY_MIB * 1024**2
    if most:
        _soft, hard = resource.getrlimit(resource.RLIMIT_AS)
        if hard != resource.RLIM_INFINITY:
            most = min(most, hard)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))
