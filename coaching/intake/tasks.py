"""Celery entry points."""

from celery import shared_task

from coaching.intake import services


@shared_task
def clear_uploads() -> None:
    services.clear_uploads()
