"""Celery's entrance."""

from celery import shared_task

from coaching.notify import pushing, services


@shared_task
def send_notices() -> None:
    services.send_notices()


@shared_task
def send_pushes() -> None:
    pushing.deliver()
