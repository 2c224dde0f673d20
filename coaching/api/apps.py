from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "coaching.api"
    label = "api"
