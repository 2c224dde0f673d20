"""What a real Redis keeps of a clip goes when the clip is erased."""

from __future__ import annotations

from typing import Any

import pytest

from analysis import services as analysis
from coaching import kept
from coaching.review import clip_cache
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


def test_erasing_a_clip_empties_redis_of_it(broker: str, settings: Any) -> None:
    place = broker.replace("redis+socket://", "unix://")
    settings.CACHES = {
        **settings.CACHES,
        "kept": {"BACKEND": "coaching.kept.KeptCache", "LOCATION": place, "KEY_PREFIX": "kept"},
    }
    video, other = factories.make_video(), factories.make_video()
    for row in (video, other):
        for n in range(3):
            clip_cache.keep(row.pk, f"still-{n}", b"picture")
    assert clip_cache.get(video.pk, "still-0") == b"picture"
    analysis.erase_media(video=video)
    assert [clip_cache.get(video.pk, f"still-{n}") for n in range(3)] == [None] * 3
    assert clip_cache.get(other.pk, "still-2") == b"picture"
    clip_cache.keep(video.pk, "still-0", b"too late")
    assert clip_cache.get(video.pk, "still-0") is None
    assert b"picture" in kept.cache.get_many([f"clip-{other.pk}-still-1"]).values()
