from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class ReviewConfig(AppConfig):
    name = "coaching.review"
    label = "review"

    def ready(self) -> None:
        from analysis import services, work
        from analysis.models import Run
        from coaching.lessons import shell
        from coaching.people import listeners
        from coaching.review import clip_cache
        from coaching.review.services import films

        services.on_media_erased.append(clip_cache.forget)
        work.WORK[Run.Kind.RENDER] = films.render
        listeners.on_media_withdrawn.append(films.erase_films)
        listeners.on_decider_changed.append(films.end_links)
        shell.studio_menu.add(
            shell.Item(30, _("Sentences"), "review:sentences", "quote", under="/", group="say")
        )
