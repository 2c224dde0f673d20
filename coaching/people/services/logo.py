"""The studio's own picture: kept small, or taken away."""

from __future__ import annotations

from typing import Any

from django.core.files.base import ContentFile, File
from django.db import transaction
from django.utils.translation import gettext as _

from analysis import files
from coaching.people import access, audit
from coaching.people.errors import LessonError
from coaching.people.models import Studio, User

MAX_BYTES = 2 * 1024 * 1024


def keep_logo(*, studio: Studio, by: User, picture: File[Any] | None) -> None:
    """Keep a PNG or JPEG as the studio's logo, in place of an earlier one.

    It is drawn anew: what else the file holds is not kept.

    Raises
    ------
    LessonError
        `no_file`, `picture`: not a PNG or JPEG that can be read. `too_big` (413).
    """
    access.require_role(by, studio)
    if picture is None:
        raise LessonError(_("Choose a picture first."), code="no_file")
    if (picture.size or 0) > MAX_BYTES:
        raise LessonError(_("Keep the picture under 2 MB."), code="too_big", status=413)
    from analysis.picture import small_png  # OpenCV loads only where a picture comes

    try:
        drawn = small_png(picture.read())
    except ValueError as error:
        raise LessonError(
            _("This picture cannot be read. Choose a PNG or a JPEG of up to 25 megapixels."),
            code="picture",
        ) from error
    name = files.write(studio.logo, "logo.png", ContentFile(drawn))
    with transaction.atomic():
        files.put(studio.logo, name)
        studio.save(update_fields=["logo"])
        audit.write(audit.Act.STUDIO, by=by, studio=studio, fields=["logo"])


@transaction.atomic
def remove_logo(*, studio: Studio, by: User) -> None:
    access.require_role(by, studio)
    if not studio.logo:
        return
    files.let_go(str(studio.logo.name))
    studio.logo = ""
    studio.save(update_fields=["logo"])
    audit.write(audit.Act.STUDIO, by=by, studio=studio, fields=["logo"])
