"""The Celery application: the queue is only a hint, the database row is the truth."""

import os
from typing import Any

from celery import Celery
from celery.signals import task_postrun, task_prerun, worker_init, worker_process_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")

app = Celery("causeway")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect
def clear_scratch(**kwargs: Any) -> None:
    """What a killed worker left in the making goes when the next one starts."""
    from analysis import scratch

    scratch.sweep()


@worker_process_init.connect
def hold_child(**kwargs: Any) -> None:
    from analysis import limits

    limits.hold_this_process()


@task_prerun.connect
def name_task(task_id: str, task: Any, **kwargs: Any) -> None:
    """Lines that a task writes carry its name and id."""
    from analysis import logs

    work = logs.at_work_on(task=task.name, task_id=task_id)
    work.__enter__()
    task.request.at_work = work


@task_postrun.connect
def unname_task(task: Any, **kwargs: Any) -> None:
    if (work := getattr(task.request, "at_work", None)) is not None:
        work.__exit__(None, None, None)
