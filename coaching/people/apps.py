from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "coaching.people"
    label = "people"
