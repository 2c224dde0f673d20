from django.apps import AppConfig


class DiagnosisConfig(AppConfig):
    name = "coaching.diagnosis"
    label = "diagnosis"
