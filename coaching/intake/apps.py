from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class IntakeConfig(AppConfig):
    name = "coaching.intake"
    label = "intake"

    def ready(self) -> None:
        from analysis import services as analysis_services
        from coaching.intake.services import clips, filming_links
        from coaching.people import listeners

        analysis_services.on_run_closed.append(clips.record_run)
        analysis_services.may_measure.append(clips.may_be_measured)
        listeners.on_measuring_allowed.append(clips.measure_unmeasured)
        listeners.on_measuring_ended.append(clips.measure_no_longer)
        listeners.on_media_withdrawn.append(clips.erase_clips)
        listeners.on_media_withdrawn.append(filming_links.end_links)
        listeners.on_decider_changed.append(filming_links.end_links)
        listeners.on_promises_changed.append(clips.renew_promises)
        from coaching.lessons import shell

        shell.student_actions.add(shell.Item(10, _("Ask for a film"), "intake:ask", icon="film"))
        shell.studio_menu.add(
            shell.Item(20, _("Requests"), "intake:sets", "camera", under="/", group="say")
        )
