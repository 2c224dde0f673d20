from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "coaching.intake"
    label = "intake"
