from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "coaching.people"
    label = "people"

    def ready(self) -> None:
        from coaching.people import security, words

        security.listen()
        words.use_our_words()
