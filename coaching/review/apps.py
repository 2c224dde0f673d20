from django.apps import AppConfig


class ReviewConfig(AppConfig):
    name = "coaching.review"
    label = "review"
