"""What is computed once and kept for a while, in Redis: a page never fails for want of it.

The limits on signing in are counted in the cache `default`, where an error is an error: nobody
tries passwords without end because Redis is away.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.core.cache import caches
from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from django.utils.connection import ConnectionProxy
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)
LEFT_ALONE_S = 5.0  # so long nobody asks a server that did not answer

cache = ConnectionProxy(caches, "kept")


def forget(prefix: str) -> None:
    """Remove what is kept under every key that begins with `prefix`: plain letters, no `*`."""
    cache.forget(prefix)


class KeptLocally(LocMemCache):
    """In the memory of one process, where no Redis serves several."""

    def forget(self, prefix: str) -> None:
        begins = self.make_key(prefix)
        with self._lock:  # type: ignore[attr-defined]
            held = list(self._cache)  # type: ignore[attr-defined]
            for key in held:
                if key.startswith(begins):
                    self._delete(key)  # type: ignore[attr-defined]


class KeptCache(RedisCache):
    """Holds nothing while its server is away."""

    _away_until = 0.0  # of all threads of a process

    def get(self, key: Any, default: Any = None, version: int | None = None) -> Any:
        return self._tried(lambda: super(KeptCache, self).get(key, default, version), default)

    def get_many(self, keys: Any, version: int | None = None) -> dict[Any, Any]:
        found: dict[Any, Any] = self._tried(
            lambda: super(KeptCache, self).get_many(keys, version), {}
        )
        return found

    def set(self, key: Any, value: Any, *args: Any, **options: Any) -> None:
        self._tried(lambda: super(KeptCache, self).set(key, value, *args, **options), None)

    def add(self, key: Any, value: Any, *args: Any, **options: Any) -> bool:
        return bool(
            self._tried(lambda: super(KeptCache, self).add(key, value, *args, **options), False)
        )

    def delete(self, key: Any, version: int | None = None) -> bool:
        return bool(self._tried(lambda: super(KeptCache, self).delete(key, version), False))

    def forget(self, prefix: str) -> None:
        """Looks through all keys, which is rare and does not hold the server up."""

        def look() -> None:
            client = self._cache.get_client(write=True)
            found = client.scan_iter(match=f"{self.make_key(prefix)}*", count=1000)
            for key in found:
                client.unlink(key)

        self._tried(look, None)

    def _tried(self, act: Callable[[], Any], otherwise: Any) -> Any:
        if time.monotonic() < KeptCache._away_until:
            return otherwise
        try:
            return act()
        except RedisError as error:
            KeptCache._away_until = time.monotonic() + LEFT_ALONE_S
            logger.warning(
                "The cache is away: %s. Pages are made without it.", type(error).__name__
            )
            return otherwise
