"""Notifications to browsers by Web Push (RFC 8030), closed for that browser (RFC 8291) and signed
with our key (RFC 8292), by pywebpush.

`services.address_entries` writes a message for each browser of each reader; here they are sent,
outside any transaction and under a lease. `saying.notification_of` says what stands in one.
"""

from __future__ import annotations

import json
import logging
from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from email.utils import parseaddr
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db.models import F
from django.utils import timezone
from py_vapid import Vapid, b64urlencode

from analysis import sweeping
from coaching.lessons.models import Entry
from coaching.notify.models import PushMessage, PushSubscription
from coaching.notify.readers import still_reads
from coaching.notify.saying import notification_of
from coaching.people.models import User

if TYPE_CHECKING:
    import requests

logger = logging.getLogger(__name__)
KEPT_FOR = timedelta(days=1)  # later than that the letter has long said it
MOST_ATTEMPTS = 6
LONGEST_WAIT = timedelta(hours=2)
TIMEOUT_S = 10
BATCH = 100
GONE = {404, 410}  # RFC 8030 §7.3: nobody is there any more


def new_key() -> str:
    """A private key as `PUSH_PRIVATE_KEY` takes it: 32 bytes in base64url."""
    vapid = Vapid()
    vapid.generate_keys()
    number = vapid.private_key.private_numbers().private_value
    return str(b64urlencode(number.to_bytes(32, "big")))


def public_key() -> str:
    """What browsers ask by: the point in base64url. Empty where this server has no key."""
    if not settings.PUSH_PRIVATE_KEY:
        return ""
    numbers = _vapid().public_key.public_numbers()
    point = b"\x04" + numbers.x.to_bytes(32, "big") + numbers.y.to_bytes(32, "big")
    return str(b64urlencode(point))


def _vapid() -> Any:
    return Vapid.from_string(settings.PUSH_PRIVATE_KEY)


def address(entry: Entry, readers: Iterable[User]) -> None:
    """Write a message for each browser of each reader; call it in the entry's transaction."""
    if not settings.PUSH_PRIVATE_KEY:
        return
    rows = PushSubscription.objects.filter(user__in=list(readers)).select_related("user")
    until = timezone.now() + KEPT_FOR
    PushMessage.objects.bulk_create(
        [
            PushMessage(subscription=row, entry=entry, expires_at=until)
            for row in rows
            if row.is_alive
        ],
        ignore_conflicts=True,
    )


def deliver() -> int:
    """Send what is due: everything of one thread in one notification; how many went out."""
    now = timezone.now()
    PushMessage.objects.filter(expires_at__lte=now).delete()
    PushMessage.objects.filter(attempts__gte=MOST_ATTEMPTS, retry_at__lte=now).delete()
    due = (
        PushMessage.objects.filter(retry_at__lte=now)
        .select_related("subscription__user", "entry__author", "entry__thread__student__studio")
        .order_by("pk")
    )
    turns: dict[tuple[int, int, bool], list[PushMessage]] = defaultdict(list)
    for message in due[:BATCH]:
        # What is urgent stands alone, and no later notification takes its place.
        is_pain = message.entry.kind == Entry.Kind.PAIN
        turns[message.subscription_id, message.entry.thread_id, is_pain].append(message)
    sent = 0

    def send(messages: list[PushMessage]) -> None:
        nonlocal sent
        sent += _send_turn(messages)

    pain_first = sorted(turns, key=lambda turn: not turn[2])
    sweeping.each([turns[turn] for turn in pain_first], send, what="A notification to a browser")
    return sent


def _send_turn(messages: list[PushMessage]) -> int:
    held = [message for message in messages if _lease(message)]
    if not held:
        return 0
    subscription, newest = held[0].subscription, held[-1]
    # Void since (they are told again once they have signed in), or somebody who has left.
    if not (subscription.is_alive and still_reads(subscription.user, newest.entry)):
        PushMessage.objects.filter(pk__in=[message.pk for message in held]).delete()
        return 0
    is_pain = newest.entry.kind == Entry.Kind.PAIN
    notification = notification_of([message.entry for message in held], subscription.user)
    # The same name for the service's own queue and for the screen: the newest takes its place.
    notification["tag"] = f"{'urgent' if is_pain else 'thread'}-{newest.entry.thread_id}"
    ttl_s = max(0, int((newest.expires_at - timezone.now()).total_seconds()))
    status = _post(
        subscription,
        json.dumps(notification),
        ttl_s=ttl_s,
        topic=notification["tag"],
        urgent=is_pain,
    )
    if status in GONE:
        subscription.delete()
    elif 200 <= status < 300:
        PushMessage.objects.filter(pk__in=[message.pk for message in held]).delete()
        return 1
    else:
        logger.warning(
            "A push service did not take a notification (%d); it is tried again.", status
        )
    return 0


def _lease(message: PushMessage) -> bool:
    """Take a message for as long as the next try is away: 1, 5, 25 ... minutes."""
    wait = min(timedelta(minutes=5 ** min(message.attempts, 6)), LONGEST_WAIT)
    mine = PushMessage.objects.filter(pk=message.pk, attempts=message.attempts)
    return bool(mine.update(attempts=F("attempts") + 1, retry_at=timezone.now() + wait))


def _post(
    subscription: PushSubscription, data: str, *, ttl_s: int, topic: str, urgent: bool
) -> int:
    """The service's status, or 0 where none came."""
    from pywebpush import WebPushException, webpush  # 20 MB that a web process never needs

    try:
        webpush(
            {
                "endpoint": subscription.endpoint,
                "keys": {"p256dh": subscription.p256dh, "auth": subscription.auth},
            },
            data,
            vapid_private_key=_vapid(),
            vapid_claims={"sub": "mailto:" + parseaddr(settings.DEFAULT_FROM_EMAIL)[1]},
            ttl=ttl_s,
            headers={"Urgency": "high" if urgent else "normal", "Topic": topic},
            timeout=TIMEOUT_S,
            requests_session=_session(),
        )
    except WebPushException as error:
        return int(error.status_code or 0)
    except OSError:  # no line, or none in time
        return 0
    return 201


def _session() -> requests.Session:
    """Follows nowhere: an answer that leads elsewhere is one that refuses."""
    import requests

    session = requests.Session()
    session.max_redirects = 0
    return session
