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
from django.core.cache.backends.redis import RedisCache
from django.utils.connection import ConnectionProxy
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)
LEFT_ALONE_S = 5.0  # so long nobody asks a server that did not answer

cache = ConnectionProxy(caches, "kept")


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
