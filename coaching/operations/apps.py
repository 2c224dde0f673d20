from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class OperationsConfig(AppConfig):
    name = "coaching.operations"
    label = "operations"

    def ready(self) -> None:
        from coaching.lessons.shell import Item, studio_menu

        studio_menu.add(Item(90, _("Operations"), "operations", icon="disk", group="own"))
