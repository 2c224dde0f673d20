from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class PracticeConfig(AppConfig):
    name = "coaching.practice"
    label = "practice"

    def ready(self) -> None:
        from coaching.practice import undo
        from coaching.practice.services import assigning
        from coaching.review.services import sending

        sending.on_sent.append(assigning.open_drills)
        sending.on_taken_back.append(undo.close_drills)
        from coaching.lessons.shell import Item, coach_menu, learner_menu, student_tabs

        coach_menu.add(Item(30, _("Drills"), "practice:library", icon="drill", under="/drills/"))
        learner_menu.add(Item(30, _("Progress"), "practice:progress", icon="chart"))
        learner_menu.add(Item(40, _("It hurts"), "practice:pain", icon="hurt", mark="hurts"))
        student_tabs.add(Item(40, _("Progress"), "practice:progress", mark="progress"))
        from coaching.review import sidebar

        sidebar.fragments.append("practice/_sidebar.html")
        sidebar.answer_parts.append("practice/_answer.html")
