"""What is computed of one clip and kept for an hour; it goes with the clip's files.

Every key begins with the clip, so that erasing finds all of it.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from django.db import transaction

from analysis.models import Video
from coaching import kept

KEPT_S = 3600


def _of(video_pk: int) -> str:
    return f"clip-{video_pk}-"


def get(video_pk: int, what: str) -> Any:
    """What is kept under the name `what`; None when nothing is."""
    return kept.cache.get(_of(video_pk) + what)


def keep(video_pk: int, what: str, value: Any) -> None:
    """Keep `value`, unless the clip was erased while it was computed.

    Kept first and looked after second: whoever erases in between finds it and takes it away.
    """
    kept.cache.set(_of(video_pk) + what, value, KEPT_S)
    if not Video.objects.filter(pk=video_pk, erased_at=None).exists():
        kept.forget(_of(video_pk))


def forget(*, video: Video) -> None:
    """The clip is erased: nothing of it stays in the cache once that has committed."""
    transaction.on_commit(partial(kept.forget, _of(video.pk)), robust=True)
