"""Celery entry points."""

from celery import shared_task

from coaching.people import outbox
from coaching.people.services import consent


@shared_task
def erase_void_films() -> int:
    return consent.erase_void_films()


@shared_task
def send_letters() -> None:
    outbox.deliver()
