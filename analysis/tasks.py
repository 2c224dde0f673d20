"""Celery entry points: another entrance, like a view."""

from celery import shared_task

from analysis import files, scratch, services


@shared_task
def run_task(pk: int) -> None:
    services.run(pk)


@shared_task
def sweep() -> None:
    services.sweep()


@shared_task
def sweep_files() -> None:
    files.sweep()
    files.sweep_orphans()
    scratch.sweep()
