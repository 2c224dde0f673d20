"""Going through rows on the clock: one row that fails never stops the others."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

from django.db import InterfaceError, OperationalError

logger = logging.getLogger(__name__)
T = TypeVar("T")


def each(rows: Iterable[T], act: Callable[[T], object], *, what: str) -> int:
    """Call `act` on each of `rows`; how many went well. What fails is logged and left.

    Call it outside any transaction, so that a failing row rolls back its own work only.

    Raises
    ------
    OperationalError, InterfaceError
        When the database itself is away: nothing after that could go well.
    """
    done = 0
    for row in rows:
        try:
            act(row)
        except (OperationalError, InterfaceError):
            raise
        except Exception:
            logger.exception("%s: %s is left as it is.", what, getattr(row, "pk", row))
        else:
            done += 1
    return done
