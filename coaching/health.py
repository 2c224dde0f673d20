"""What is seen from outside: is it alive, is it ready, and figures for whoever watches.

`/healthz` says that the process answers. `/readyz` says whether work gets done: 503 names
what does not. `/metrics` gives the same as Prometheus text, to those with the token.
Neither holds a name, an address or a word of anybody.
"""

from __future__ import annotations

import hmac
import shutil
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from analysis import services
from analysis.models import LooseFile, Run
from coaching.lessons.models import Entry
from coaching.notify import services as notify
from coaching.notify.models import PushMessage
from coaching.people.models import Letter

MIB = 1024**2


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


@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 when work gets done; 503 with what does not. Says nothing of anybody."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        found = readings()
    except DatabaseError:
        return JsonResponse({"ok": False, "wrong": ["database"]}, status=503)
    wrong = [reading.name for reading in found if not reading.good]
    return JsonResponse({"ok": not wrong, "wrong": wrong}, status=503 if wrong else 200)


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Prometheus text, for `Authorization: Bearer METRICS_TOKEN`; 404 for everybody else."""
    told = request.headers.get("Authorization", "").removeprefix("Bearer ")
    token = settings.METRICS_TOKEN
    if not token or not hmac.compare_digest(told.encode(), token.encode()):
        raise Http404
    return HttpResponse(text_of(readings()), content_type="text/plain; version=0.0.4")


def text_of(found: list[Reading]) -> str:
    from prometheus_client import CollectorRegistry, Gauge, generate_latest

    registry = CollectorRegistry()
    for reading in found:
        Gauge(f"causeway_{reading.name}", reading.help, registry=registry).set(reading.value)
    return generate_latest(registry).decode()
