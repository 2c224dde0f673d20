"""Celery entry points: another entrance, like a view."""

from celery import shared_task

from coaching.review.services import walks


@shared_task
def finalize_sound(pk: int) -> None:
    walks.finalize_walk_sound(pk)


@shared_task
def settle_forgotten_sounds() -> None:
    walks.settle_forgotten_sounds()
