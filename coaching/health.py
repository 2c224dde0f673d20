"""What is seen from outside: is it alive, is it ready, and figures for whoever watches.

`/healthz` says that the process answers. `/readyz` says whether work gets done, in one word,
and to an owner or to those with the token what does not. `/metrics` gives the figures as
Prometheus text, to those with the token. Neither holds a name, an address or a word of anybody.
"""

from __future__ import annotations

import hmac
import shutil
import threading
import time
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from analysis import services
from analysis.models import LooseFile, Run
from coaching import kept
from coaching.lessons.models import Entry
from coaching.notify import services as notify
from coaching.notify.models import PushMessage
from coaching.people import access
from coaching.people.models import Letter

MIB = 1024**2
REMEMBERED_S = 5  # whoever asks more often than this is answered from memory


@dataclass(frozen=True)
class Reading:
    """One figure; more than `most` (or less than `least`) means that something is wrong."""

    name: str
    help: str
    value: float
    most: float | None = None
    least: float | None = None

    @property
    def good(self) -> bool:
        return (self.most is None or self.value <= self.most) and (
            self.least is None or self.value >= self.least
        )


def readings() -> list[Reading]:
    """Every figure, from the database, the broker and the disk."""
    pain = notify.unsent().filter(notify.IS_PAIN)
    untold = Entry.objects.filter(notified_at__isnull=True, kind=Entry.Kind.PAIN)
    waiting = Run.objects.filter(status=Run.Status.QUEUED, background=False)
    failed = Run.objects.filter(status=Run.Status.FAILED)
    free = shutil.disk_usage(settings.VAR_DIR).free / MIB
    return [
        Reading("broker_up", "1 when the broker answers.", float(_broker_answers()), least=1),
        Reading("beat_age_seconds", "Since the clock was heard.", _beat_age_s(), most=120),
        Reading("runs_waiting", "Runs that wait for a worker.", float(waiting.count())),
        Reading("run_oldest_seconds", "How long the oldest waits.",
                _age_s(waiting.order_by("queued_at").values_list("queued_at", flat=True).first()),
                most=settings.READY_OLDEST_RUN_S),
        Reading("runs_failed", "Runs that failed and were not tried again.", float(failed.count())),
        Reading("letters_unsent", "Letters that wait.",
                float(notify.unsent().count() + Letter.objects.count())),
        Reading("notifications_waiting", "Notifications that wait for a push service.",
                float(PushMessage.objects.count())),
        Reading("account_letter_oldest_seconds", "How long the oldest link to get in waits.",
                _age_s(Letter.objects.order_by("pk").values_list("created_at", flat=True).first()),
                most=3600),
        Reading("pain_letter_oldest_seconds", "How long the oldest letter about pain waits.",
                max(_age_s(pain.order_by("pk").values_list("created_at", flat=True).first()),
                    _age_s(untold.order_by("pk").values_list("created_at", flat=True).first())),
                most=300),
        Reading("loose_files_overdue", "Files whose removal is due.",
                float(LooseFile.objects.filter(due_at__lte=timezone.now()).count())),
        Reading("disk_free_mib", "Room under VAR_DIR.", free, least=settings.READY_FREE_MIB),
    ]  # fmt: skip


def _age_s(since: datetime | None) -> float:
    return max((timezone.now() - since).total_seconds(), 0.0) if since else 0.0


def _beat_age_s() -> float:
    try:
        return timezone.now().timestamp() - services.beat_path().stat().st_mtime
    except FileNotFoundError:
        return float("inf")


def _broker_answers() -> bool:
    from coaching.celery import app

    try:
        with app.connection_for_read(transport_options={"max_retries": 0}) as broker:
            broker.ensure_connection(max_retries=0, timeout=2)
    except Exception:  # noqa: BLE001  whatever it is, the broker does not answer
        return False
    return True


@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"ok": True})


class Remembered:
    """What does not work, found out by one thread at a time and remembered by all.

    Anybody may ask, as often as they like: they wait for nobody and cost the database nothing.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        self._asking = threading.Lock()
        self._until, self._wrong = 0.0, ["not_known_yet"]

    def wrong(self) -> list[str]:
        if time.monotonic() >= self._until and self._asking.acquire(blocking=False):
            try:
                self._wrong = self._of_all_processes()
                self._until = time.monotonic() + REMEMBERED_S
            finally:
                self._asking.release()
        return self._wrong

    def _of_all_processes(self) -> list[str]:
        known: list[str] | None = kept.cache.get("ready")
        if known is None:
            known = _wrong_now()
            kept.cache.set("ready", known, REMEMBERED_S)
        return known


remembered = Remembered()


def _wrong_now() -> list[str]:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        found = readings()
    except DatabaseError:
        return ["database"]
    return [reading.name for reading in found if not reading.good]


@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 when work gets done, else 503; what does not is named to owners and by the token."""
    wrong = remembered.wrong()
    told: dict[str, object] = {"ok": not wrong}
    if _has_token(request) or _is_owner(request):
        told["wrong"] = wrong
    return JsonResponse(told, status=503 if wrong else 200)


def _is_owner(request: HttpRequest) -> bool:
    try:
        return access.studios(request.user, access.OWNERS).exists()
    except DatabaseError:  # nobody is known without it; what is wrong is in the log
        return False


def _has_token(request: HttpRequest) -> bool:
    told = request.headers.get("Authorization", "").removeprefix("Bearer ")
    token = settings.METRICS_TOKEN
    return bool(token) and hmac.compare_digest(told.encode(), token.encode())


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Prometheus text, for `Authorization: Bearer METRICS_TOKEN`; 404 for everybody else."""
    if not _has_token(request):
        raise Http404
    return HttpResponse(text_of(readings()), content_type="text/plain; version=0.0.4")


def text_of(found: list[Reading]) -> str:
    from prometheus_client import CollectorRegistry, Gauge, generate_latest

    registry = CollectorRegistry()
    for reading in found:
        Gauge(f"causeway_{reading.name}", reading.help, registry=registry).set(reading.value)
    return generate_latest(registry).decode()
