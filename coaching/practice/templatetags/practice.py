"""What the practice's fragments need, from inside the pages that include them."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from coaching.intake.models import RequestedAngle
from coaching.lessons import words
from coaching.people.models import User
from coaching.practice import queries
from coaching.practice.criteria import Suggested, Suggestion
from coaching.practice.models import Assignment, Criterion, Rung
from coaching.practice.views import assigning
from coaching.review.models import Review

register = template.Library()


@register.simple_tag
def drills_margin(review: Review) -> dict[str, Any]:
    """The context of `practice/_drills.html`."""
    return assigning.margin_context(review)


@register.simple_tag
def ladder(assignment: Assignment) -> list[queries.Place]:
    return queries.ladder_view(assignment)


@register.filter
def count_words(rung: Rung) -> str:
    """`3 swings; 2 must count`."""
    filmed = ngettext("%(n)d repetition", "%(n)d repetitions", rung.repetitions) % {
        "n": rung.repetitions
    }
    if rung.need == rung.repetitions:
        counted = _("it must count") if rung.need == 1 else _("all must count")
    else:
        counted = ngettext("%(k)d must count", "%(k)d must count", rung.need) % {"k": rung.need}
    days = _(", on %(days)d days") % {"days": rung.days} if rung.days > 1 else ""
    return f"{filmed}; {counted}{days}"


@register.filter
def suggestion_words(suggestion: Suggestion) -> str:
    """`Passes, 97 % sure`, or why the camera cannot tell and what would help."""
    sure = min(99, int(100 * suggestion.sure))
    if suggestion.says == Suggested.PASSES:
        return _("The figures say it passes, %(sure)d %% sure.") % {"sure": sure}
    if suggestion.says == Suggested.DOES_NOT:
        return _("The figures say it does not pass, %(sure)d %% sure.") % {"sure": sure}
    return {
        "unseen": _("The camera cannot tell: a figure was not seen. Look, or film it again."),
        "too_few": _(
            "The camera cannot tell: fewer repetitions came than were asked for."
            " Look, or ask for them all."
        ),
        "unanswered": _("The student has not answered the self-test yet."),
    }.get(
        suggestion.why,
        _("The camera cannot tell: it is too close to call. Look, or film more repetitions."),
    )


@register.filter
def counted_words(suggestion: Suggestion) -> str:
    """What the student reads within a minute: `Three counted; your coach decides.`"""
    numbers = [_("None"), _("One"), _("Two"), _("Three"), _("Four"), _("Five")]
    count = suggestion.counted
    said = numbers[count] if count < len(numbers) else str(count)
    return _("%(count)s counted; your coach decides.") % {"count": said}


@register.filter
def past_final(criterion: Criterion, final: dict[tuple[str, str], Criterion]) -> str:
    """The final target in words, where this rung asks for more than it on purpose."""
    last = final.get((criterion.measure, criterion.event))
    if last is None or last.pk == criterion.pk or last.comparison != criterion.comparison:
        return ""
    beyond = (
        (criterion.comparison == "at_least" and (criterion.low or 0) > (last.low or 0))
        or (criterion.comparison == "at_most" and (criterion.high or 0) < (last.high or 0))
        or (criterion.comparison == "changed_by"
            and abs(criterion.change or 0) > abs(last.change or 0))
    )  # fmt: skip
    if not beyond:
        return ""
    return words.band_words(
        last.comparison, low=last.low, high=last.high, change=last.change, measure=last.measure
    )


@register.filter
def chance(share: float | None) -> str:
    """A chance in percent; never quite none and never quite certain."""
    if share is None:
        return ""
    if share >= 0.995:
        return _("over 99 %")
    return _("under 1 %") if share <= 0.005 else f"{round(100 * share)} %"


@register.simple_tag(takes_context=True)
def read_words(context: Any, asked: queries.Asked) -> str:
    """`52° ± 6: in the band`, or why there is no figure."""
    if asked.value is None:
        return words.reason_words(asked.reason)
    value = words.value_words(
        asked.value, asked.uncertainty, measure=asked.measure, imperial=_imperial(context)
    )
    return f"{value}: {words.reading_words(asked.reading)}"


@register.filter
def percent(share: float | None) -> str:
    return "" if share is None else f"{round(100 * share)} %"


@register.filter
def get(mapping: Any, key: Any) -> Any:
    """A mapping's value in a template."""
    return mapping.get(key, "")


@register.simple_tag(takes_context=True)
def value_words_of(context: Any, point: queries.Point, series: queries.Series) -> str:
    """`38° ± 4`, of one film of a series."""
    return words.value_words(
        point.value, point.uncertainty, measure=series.measure, imperial=_imperial(context)
    )


@register.simple_tag(takes_context=True)
def tick_words(context: Any, value: float, measure: str) -> str:
    """A number of a scale, in the reader's unit."""
    return words.value_words(value, measure=measure, imperial=_imperial(context))


def _imperial(context: Any) -> bool:
    return getattr(context.get("user"), "units", "") == User.Units.IMPERIAL


@register.filter
def effort_words(effort: str) -> str:
    return str(RequestedAngle.Effort(effort).label)


@register.filter
def ball_words(ball: str) -> str:
    return str(RequestedAngle.Ball(ball).label)


@register.simple_tag(takes_context=True)
def value_words_at(context: Any, row: Any, criterion: Criterion) -> str:
    return words.value_words(
        row.value, row.uncertainty, measure=criterion.measure, imperial=_imperial(context)
    )


@register.simple_tag(takes_context=True)
def row_words(context: Any, row: dict[str, Any]) -> str:
    """A criterion in the shape of a drill file, in words."""
    if row["comparison"] == Criterion.Comparison.SELF_TEST:
        return str(row["question"])
    band = words.band_words(
        row["comparison"],
        low=row.get("low"),
        high=row.get("high"),
        change=row.get("change"),
        measure=row["measure"],
        imperial=_imperial(context),
    )
    return f"{words.label_of(row['measure'], row['event'])}: {band}"
