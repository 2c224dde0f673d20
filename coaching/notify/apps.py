from django.apps import AppConfig


class NotifyConfig(AppConfig):
    name = "coaching.notify"
    label = "notify"
