"""Celery entry points."""

from celery import shared_task

from coaching.operations import retention


@shared_task
def keep_no_longer() -> None:
    retention.keep_no_longer()
