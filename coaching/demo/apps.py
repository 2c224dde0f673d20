from django.apps import AppConfig


class DemoConfig(AppConfig):
    name = "coaching.demo"
    label = "demo"
