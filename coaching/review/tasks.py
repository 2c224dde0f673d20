"""Celery entry points: another entrance, like a view."""

from celery import shared_task

from coaching.review import services


@shared_task
def settle_sound(pk: int) -> None:
    services.settle_walk_sound(pk)
