"""The Celery application: the queue is only a hint, the database row is the truth."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")

app = Celery("causeway")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
