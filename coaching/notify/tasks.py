"""Celery's entrance."""

from celery import shared_task

from coaching.notify import services


@shared_task
def send_notices() -> None:
    services.send_notices()
