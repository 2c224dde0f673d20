"""The log of who saw, handed out or changed what of whom."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from analysis.columns import guarded
from coaching.people.models.students import Student
from coaching.people.models.studios import Studio


class AppendOnly(models.QuerySet["AuditEntry"]):
    """Rows that are written once. The database refuses an UPDATE too (see the migration)."""

    def update(self, **fields: Any) -> int:
        raise TypeError("An entry of the log is never changed.")

    def delete(self) -> tuple[int, dict[str, int]]:
        raise TypeError("An entry of the log is never removed.")

    def bulk_update(self, objs: Iterable[Any], *args: Any, **options: Any) -> int:
        raise TypeError("An entry of the log is never changed.")


@guarded
class AuditEntry(models.Model):
    """Who saw, handed out or changed what of whom. Shown to the owner, and to the student
    about their own record.

    The references are not enforced: an entry outlives the rows it names, and then names
    nobody.
    """

    class Act(models.TextChoices):
        SAW_FILM = "saw_film", _("looked at a film")
        SAW_BY_LINK = "saw_by_link", _("watched a lesson film by its link")
        SAW_PAIN = "saw_pain", _("read a pain report")
        EXPORTED = "exported", _("downloaded the whole record")
        ERASED = "erased", _("erased the whole record")
        CHANGED = "changed", _("changed the profile")
        CONSENTED = "consented", _("agreed to something")
        WITHDREW = "withdrew", _("took an agreement back")
        GUARDIAN_NAMED = "guardian_named", _("named a guardian")
        GUARDIAN_AGREED = "guardian_agreed", _("became guardian")
        GUARDIAN_DECLINED = "declined", _("a guardian said no")
        CAME_OF_AGE = "came_of_age", _("said that the student is 18")
        LINKED = "linked", _("made or ended a link to a lesson film")
        INVITED = "invited", _("sent an invitation")
        JOINED = "joined", _("joined")
        HANDED_OVER = "handed_over", _("handed the student over")
        CLOSED = "closed", _("closed or opened the lessons")
        STUDIO = "studio", _("changed the studio")
        ROLE = "role", _("changed what somebody does in the studio")
        TOKEN = "token", _("made or removed a key for programs")

    at = models.DateTimeField(default=timezone.now, db_index=True)
    act = models.CharField(max_length=16, choices=Act.choices)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.DO_NOTHING,
        db_constraint=False,
        related_name="+",
    )
    studio = models.ForeignKey(
        Studio,
        null=True,
        on_delete=models.DO_NOTHING,
        db_constraint=False,
        related_name="audit_entries",
    )
    student = models.ForeignKey(
        Student,
        null=True,
        on_delete=models.DO_NOTHING,
        db_constraint=False,
        related_name="audit_entries",
    )
    facts = models.JSONField(default=dict)

    objects = AppendOnly.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["studio", "-at"], name="audit_of_studio"),
            models.Index(fields=["student", "-at"], name="audit_of_student"),
        ]

    def save(self, *args: Any, **options: Any) -> None:
        if not self._state.adding:
            raise TypeError("An entry of the log is never changed.")
        super().save(*args, **options)

    def delete(self, *args: Any, **options: Any) -> tuple[int, dict[str, int]]:
        raise TypeError("An entry of the log is never removed.")
