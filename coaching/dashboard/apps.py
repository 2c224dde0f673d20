from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class DashboardConfig(AppConfig):
    name = "coaching.dashboard"
    label = "dashboard"

    def ready(self) -> None:
        from coaching.lessons.shell import (
            Item,
            coach_menu,
            learner_menu,
            student_tabs,
            studio_menu,
        )

        coach_menu.add(Item(10, _("Waiting"), "waiting", icon="book", count="waiting"))
        coach_menu.add(Item(20, _("Students"), "students", icon="people", under="/students/"))
        coach_menu.add(Item(40, _("Studio"), "overview", icon="chart", under="/studio"))
        studio_menu.add(Item(10, _("How it is doing"), "overview", icon="chart"))
        studio_menu.add(Item(60, _("Packages"), "packages", "library", under="/", group="work"))
        learner_menu.add(Item(10, _("Today"), "today", icon="home"))
        learner_menu.add(Item(20, _("Messages"), "thread", icon="word"))
        student_tabs.add(Item(10, _("Course"), "student", mark="course"))
        student_tabs.add(Item(20, _("Messages"), "thread", mark="messages"))
