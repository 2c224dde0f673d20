from django.apps import AppConfig


class NotifyConfig(AppConfig):
    name = "coaching.notify"
    label = "notify"

    def ready(self) -> None:
        from allauth.account.signals import password_changed, password_reset

        from coaching.notify import devices, services
        from coaching.people import listeners

        devices.listen()
        listeners.record_parts["notifications_to_devices"] = lambda student: devices.named(
            student.user
        )
        for changed in (password_changed, password_reset):
            changed.connect(services.close_feed, dispatch_uid="notify-feed")
