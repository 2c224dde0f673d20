"""Celery entry points: another entrance, like a view."""

from celery import shared_task

from coaching.diagnosis.services import voices


@shared_task
def finalize_voice(pk: int) -> None:
    voices.finalize_voice(pk)


@shared_task
def settle_forgotten_voices() -> None:
    voices.settle_forgotten_voices()
