"""A recording in a row's file field, turned into one format that every browser plays."""

from __future__ import annotations

from django.core.files.base import File
from django.db import transaction
from django.db.models import Model

from analysis import files, scratch


def finalize(row: Model, field: str, length: str) -> bool:
    """Turn what a browser recorded into AAC, and note its length; once.

    Browsers write different formats, and a recording that broke off has no length. A row that
    holds another recording by now keeps it.

    Parameters
    ----------
    field, length : names of the columns that hold the file and its length in seconds.
    """
    from coaching.review import sound  # PyAV loads in the worker only

    held = getattr(row, field)
    raw = str(held.name)
    if raw.endswith(".m4a"):
        return False
    with scratch.folder() as folder:
        made = folder / "sound.m4a"
        with files.local_path(held) as path:
            try:
                duration_s = sound.to_aac(path, made)
            except ValueError:
                return False  # nothing to hear in it: the raw file stays as it is
        with made.open("rb") as file:
            name = files.write(held, f"{row.pk}.m4a", File(file))
    with transaction.atomic():
        rows = type(row)._base_manager.filter(pk=row.pk, **{field: raw})
        won = rows.update(**{field: name, length: duration_s}) == 1
        if won:
            files.claim(name)
        files.let_go(raw if won else name)
    return won
