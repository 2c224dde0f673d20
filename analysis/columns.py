"""What a column may hold, kept by the database itself.

`@guarded` reads a model's own fields: a column with choices holds one of them, a column
of numbers holds none that is not finite. Code that forgets to check cannot store them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeVar

from django.db import models
from django.db.models import CheckConstraint, Q

M = TypeVar("M", bound=type[models.Model])
LARGEST = 1e12  # NaN sorts above every number in PostgreSQL and is NULL in SQLite


def guarded(model: M) -> M:
    """Add a check constraint for every choice and every float column of `model`."""
    made = [*model._meta.constraints, *_constraints(model)]
    model._meta.constraints = made
    # Where migrations look for what a model was declared with.
    model._meta.original_attrs["constraints"] = made
    return model


def _constraints(model: type[models.Model]) -> Iterator[CheckConstraint]:
    for field in model._meta.local_concrete_fields:
        name = f"{model._meta.label_lower.replace('.', '_')}_{field.name}"
        if field.choices:
            yield CheckConstraint(
                condition=Q(**{f"{field.name}__in": values_of(field)}), name=f"{name}_listed"
            )
        elif isinstance(field, models.FloatField):
            inside = Q(**{f"{field.name}__gt": -LARGEST}) & Q(**{f"{field.name}__lt": LARGEST})
            yield CheckConstraint(condition=inside, name=f"{name}_finite")


def values_of(field: Any) -> list[Any]:
    """The values that a field with choices may hold, in a fixed order."""
    return sorted({*(value for value, _label in field.flatchoices), *([""] if field.blank else [])})
