from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class LessonsConfig(AppConfig):
    name = "coaching.lessons"
    label = "lessons"

    def ready(self) -> None:
        from coaching.lessons import services
        from coaching.people import listeners

        listeners.entry_writers.append(services.record)
        from coaching.lessons import shell

        shell.student_tabs.add(shell.Item(50, _("Profile"), "people:student_edit", mark="profile"))
        menu = shell.studio_menu
        menu.add(
            shell.Item(50, _("Promise and days off"), "people:holidays", "clock", group="work")
        )
        menu.add(shell.Item(70, _("Members and look"), "people:studio", "people", group="own"))
        menu.add(shell.Item(80, _("Who saw what"), "people:studio_log", "eye", group="own"))
