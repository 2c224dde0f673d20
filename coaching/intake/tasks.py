"""Celery entry points."""

from celery import shared_task

from coaching.intake.services import uploads


@shared_task
def clear_uploads() -> None:
    uploads.clear_uploads()
