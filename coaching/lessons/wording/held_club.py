"""Turn beside the club held in the same repetition, in words."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from coaching.lessons.wording.amounts import value_words
from coaching.lessons.wording.naming import ACROSS


def beside_bar_words(mean: float, u: float) -> str:
    """A turn against the club held in the same repetition: `6° ± 5 more than the held club`."""
    phrase = _("%s less than the held club.") if mean < 0 else _("%s more than the held club.")
    return phrase % value_words(abs(mean), u, unit="deg")


def turn_bias_words(across: str, mean: float, u: float, count: int, *, name: str) -> str:
    """`Against a held club the turn of the hips reads about 4° ± 2 high on Sam, from …`"""
    since = ngettext("one repetition", "%(count)d repetitions", count) % {"count": count}
    facts = {"turn": ACROSS[across][1], "name": name, "since": since}
    facts["size"] = value_words(abs(mean), u, unit="deg")
    facts["way"] = _("low") if mean < 0 else _("high")
    if abs(mean) <= 2 * u:
        return (
            _(
                "Against a held club the %(turn)s reads %(size)s %(way)s on %(name)s, from"
                " %(since)s: too little to tell."
            )
            % facts
        )
    return (
        _(
            "Against a held club the %(turn)s reads about %(size)s %(way)s on %(name)s, from"
            " %(since)s."
        )
        % facts
    )


def difference_words(mean: float, u: float) -> str:
    """`4° ± 2 high`."""
    phrase = _("%s low") if mean < 0 else _("%s high")
    return phrase % value_words(abs(mean), u, unit="deg")


def agreement_words(
    *, persons: int, pairs: int, mean: tuple[float, float], low: float, high: float, limit_u: float
) -> str:
    """What differences over several students let one expect of the next."""

    def side(value: float) -> str:
        phrase = _("%s low") if value < 0 else _("%s high")
        return phrase % value_words(abs(value), unit="deg")

    return _(
        "Over %(persons)d students and %(pairs)d repetitions it reads %(mean)s on average. On a"
        " further student expect between %(low)s and %(high)s, 19 times out of 20; with so"
        " many students each of these limits is itself ± %(loose)s."
    ) % {
        "persons": persons,
        "pairs": pairs,
        "mean": difference_words(*mean),
        "low": side(low),
        "high": side(high),
        "loose": value_words(2 * limit_u, unit="deg"),
    }
