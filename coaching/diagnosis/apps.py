from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class DiagnosisConfig(AppConfig):
    name = "coaching.diagnosis"
    label = "diagnosis"

    def ready(self) -> None:
        from analysis import figures
        from coaching.diagnosis.services.findings import follow_figures

        figures.on_figures.append(follow_figures)
        from coaching.lessons import shell

        shell.student_tabs.add(shell.Item(30, _("Findings"), "diagnosis:shown", mark="findings"))
        shell.studio_menu.add(
            shell.Item(
                40, _("Findings and limits"), "diagnosis:entries", "limit", under="/", group="say"
            )
        )
        from coaching.diagnosis.services import voices
        from coaching.review import sidebar
        from coaching.review.services import sending

        sending.on_sent.append(voices.refuse_unwritten)

        sidebar.fragments.append("diagnosis/_sidebar.html")
        sidebar.answer_heads.append("diagnosis/_answer_head.html")
