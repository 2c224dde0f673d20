"""A fake has the signature of what it stands for: a call that the real one refuses is refused.

`monkeypatch` of every test is a `SpeccedPatch`. A fake that is called with arguments which
the replaced function does not take raises TypeError, so that no test can pass on a call
that fails outside it.
"""

from __future__ import annotations

import functools
import inspect
import pkgutil
from collections.abc import Callable, Mapping, MutableMapping
from typing import Any

import pytest

_NOTHING = object()


class SpeccedPatch(pytest.MonkeyPatch):
    def setattr(  # type: ignore[override]
        self, target: Any, name: Any, value: Any = _NOTHING, raising: bool = True
    ) -> None:
        if value is _NOTHING:  # ("module.name", fake)
            super().setattr(target, specced(pkgutil.resolve_name(target), name), raising=raising)
        else:
            fake = specced(getattr(target, name, None), value)
            super().setattr(target, name, fake, raising=raising)

    def setitem(self, dic: MutableMapping[Any, Any], name: Any, value: Any) -> None:  # type: ignore[override]
        super().setitem(dic, name, specced(dic.get(name), value))


def specced(real: Any, fake: Any) -> Any:
    """`fake`, refusing every call that `real` would refuse; tables of functions likewise."""
    if isinstance(real, Mapping) and isinstance(fake, Mapping):
        return {key: specced(real.get(key), value) for key, value in fake.items()}
    if not _is_function(real) or not callable(fake):
        return fake
    try:
        signature = inspect.signature(real)
    except (TypeError, ValueError):  # written in C, and tells nothing
        return fake
    return _checked(signature, fake)


def _is_function(real: Any) -> bool:
    return callable(real) and not isinstance(real, type)


def _checked(signature: inspect.Signature, fake: Callable[..., Any]) -> Callable[..., Any]:
    @functools.wraps(fake)
    def checked(*args: Any, **kwargs: Any) -> Any:
        signature.bind(*args, **kwargs)
        return fake(*args, **kwargs)

    checked.__signature__ = signature  # type: ignore[attr-defined]  # a fake of a fake
    return checked
