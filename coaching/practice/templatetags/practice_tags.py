"""What the practice's fragments need, from inside the pages that include them."""

from __future__ import annotations

import json
from typing import Any

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from coaching.intake.models import RequestedAngle
from coaching.lessons.estimates import Standing
from coaching.lessons.repeated import Repeated
from coaching.lessons.wording import amounts, codes, naming
from coaching.people import sides
from coaching.people.models import Student, User
from coaching.practice import beside
from coaching.practice.criteria import Suggested, Suggestion
from coaching.practice.models import Assignment, Criterion, PracticeSeries, Step, Verdict
from coaching.practice.queries import judged, ladders, progress, showing, stills, targets
from coaching.review.models import Review

register = template.Library()


@register.simple_tag
def drills_sidebar(review: Review) -> dict[str, Any]:
    """The context of `practice/_drills.html`."""
    return beside.drills_context(review)


@register.simple_tag
def answer_of(review: Review) -> stills.AnswerShown:
    """The context of `practice/_answer.html`: findings with their stills, and the drills."""
    return stills.answer_shown(review)


@register.simple_tag
def ladder(assignment: Assignment) -> list[ladders.Place]:
    return ladders.ladder_view(assignment)


@register.simple_tag
def own_picture(assignment: Assignment, step: Step | None = None) -> showing.Own | None:
    """The coach's own picture or clip of a drill that was given; None where there is none."""
    return showing.own_of(assignment, step)


@register.filter
def for_student(text: str, student: Student) -> str:
    """Words of a drill with left and right, by the hand this student plays with."""
    return sides.for_student(str(text), student.handedness)


@register.filter
def as_json(value: Any) -> str:
    """For a `data-` attribute; the template escapes it."""
    return json.dumps(value)


@register.filter
def by_drill(series: list[PracticeSeries] | None) -> list[dict[str, Any]]:
    """A day's series, one row a drill: title, repetitions, and how it felt in the end."""
    rows: dict[int, dict[str, Any]] = {}
    for one in series or []:  # erased since
        title = one.assignment.drill_version.title
        row = rows.setdefault(one.assignment_id, {"title": title, "repetitions": 0, "felt": ""})
        row["repetitions"] += one.repetitions
        row["felt"] = one.get_felt_display() if one.felt else row["felt"]
    return list(rows.values())


@register.simple_tag(takes_context=True)
def spread_words(context: Any, spread: Repeated, measure: str) -> str:
    """`From repetition to repetition 40° to 48°; reading alone would make ± 5 of it.`"""
    imperial = _imperial(context)
    low, high = (
        amounts.value_words(v, measure=measure, imperial=imperial)
        for v in (spread.low, spread.high)
    )
    if spread.of_the_player == 0:
        told = _(
            "From repetition to repetition %(low)s to %(high)s: no more than the reading's own."
        )
    else:
        told = _("From repetition to repetition %(low)s to %(high)s: more than the reading's own.")
    return told % {"low": low, "high": high}


@register.filter
def plain_number(value: Any) -> str:
    """A number as it is typed into a field; empty for none."""
    return "" if value in (None, "") else f"{float(value):g}"


@register.inclusion_tag("practice/_strip.html")
def strip(slug: str, handedness: str = "right", *, play: bool = False) -> dict[str, Any]:
    """The drawn positions of a starter drill, mirrored for a left-hander; empty for others."""
    return {
        "positions": targets.positions_of(slug, handedness),
        "mirrored": handedness == "left",
        "seen": targets.seen_from(slug, handedness),
        "play": play,
    }


@register.filter
def count_words(step: Step) -> str:
    """`3 swings; 2 must count`."""
    filmed = ngettext("%(n)d repetition", "%(n)d repetitions", step.repetitions) % {
        "n": step.repetitions
    }
    if step.need == step.repetitions:
        counted = _("it must count") if step.need == 1 else _("all must count")
    else:
        counted = ngettext("%(k)d must count", "%(k)d must count", step.need) % {"k": step.need}
    days = _(", on %(days)d days") % {"days": step.days} if step.days > 1 else ""
    return f"{filmed}; {counted}{days}"


@register.filter
def suggestion_words(suggestion: Suggestion) -> str:
    """`It passes: three counted.`, or why the figures cannot say and what would help."""
    says = {
        "unseen": _("The figures cannot say: one was not seen. Look, or film it again."),
        "too_few": _(
            "The figures cannot say: fewer repetitions came than were asked for."
            " Look, or ask for them all."
        ),
        "unanswered": _("The student has not answered the self-test yet."),
        "too_close": _("The figures cannot say: it is close. Look, or film more repetitions."),
    }.get(suggestion.why, "")
    if suggestion.says == Suggested.PASSES:
        says = _("The figures say it passes.")
    elif suggestion.says == Suggested.DOES_NOT:
        says = _("The figures say it does not pass.")
    if not suggestion.standings:
        return says
    need = _("%(need)s must count") % {"need": _count(suggestion.need)}
    return f"{says} {_tally(suggestion)}. {need}."


def _tally(suggestion: Suggestion) -> str:
    """`Two counted, one was close`: the marks that stand on the same page, counted."""
    told = [_("%(n)s counted") % {"n": _count(suggestion.counted)}]
    if suggestion.close:
        close = ngettext("%(n)s was close", "%(n)s were close", suggestion.close)
        told.append(close % {"n": _count(suggestion.close).lower()})
    return ", ".join(told)


def _count(number: int) -> str:
    names = [_("None"), _("One"), _("Two"), _("Three"), _("Four"), _("Five")]
    return names[number] if number < len(names) else str(number)


@register.filter
def counted_words(suggestion: Suggestion) -> str:
    """What the student reads within a minute: `Two counted, one was close; your coach decides.`"""
    return _("%(told)s; your coach decides.") % {"told": _tally(suggestion)}


@register.filter
def past_final(criterion: Criterion, final: dict[tuple[str, str], Criterion]) -> str:
    """The final target in words, where this step asks for more than it on purpose."""
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
    return amounts.band_words(
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
def read_words(context: Any, asked: judged.Asked) -> str:
    """`52° ± 6: counted`, or why there is no figure."""
    if asked.value is None:
        return codes.reason_words(asked.reason)
    value = amounts.value_words(
        asked.value, asked.uncertainty, measure=asked.measure, imperial=_imperial(context)
    )
    return f"{value}: {codes.standing_words(asked.standing)}"


@register.filter
def percent(share: float | None) -> str:
    return "" if share is None else f"{round(100 * share)} %"


@register.filter
def get(mapping: Any, key: Any) -> Any:
    """A mapping's value in a template."""
    return mapping.get(key, "")


@register.simple_tag(takes_context=True)
def value_words_of(context: Any, point: progress.Point, series: progress.Series) -> str:
    """`38° ± 4`, of one film of a series."""
    return amounts.value_words(
        point.value, point.uncertainty, measure=series.measure, imperial=_imperial(context)
    )


@register.simple_tag
def left_out_words(series: progress.Series) -> str:
    """Why earlier clips are missing from a line, and whether they come back."""
    told = ngettext(
        "%(n)d earlier clip was measured by an older version of this software, so it is not shown"
        " here.",
        "%(n)d earlier clips were measured by an older version of this software, so they are not"
        " shown here.",
        series.left_out,
    ) % {"n": series.left_out}
    if not series.in_background:
        return told
    again = ngettext(
        "It is being measured again and will appear here.",
        "They are being measured again and will appear here.",
        series.left_out,
    )
    return f"{told} {again}"


@register.simple_tag(takes_context=True)
def tick_words(context: Any, value: float, measure: str) -> str:
    """A number of a scale, in the reader's unit."""
    return amounts.value_words(value, measure=measure, imperial=_imperial(context))


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
    return amounts.value_words(
        row.value, row.uncertainty, measure=criterion.measure, imperial=_imperial(context)
    )


@register.simple_tag(takes_context=True)
def row_words(context: Any, row: dict[str, Any]) -> str:
    """A criterion in the shape of a drill file, in words."""
    if row["comparison"] in Criterion.BY_EYE:
        return str(row["question"])
    band = amounts.band_words(
        row["comparison"],
        low=row.get("low"),
        high=row.get("high"),
        change=row.get("change"),
        measure=row["measure"],
        imperial=_imperial(context),
    )
    return f"{naming.label_of(row['measure'], row['event'])}: {band}"


@register.filter
def verdict_stone(verdict: Verdict) -> str:
    """The mark beside a verdict: full is passed, half nearly, crossed stopped, else empty."""
    return {"passed": "done", "nearly": "way", "stop": "stop"}.get(verdict.decision, "leave")


@register.filter
def standing_words(standing: Standing) -> str:
    return codes.standing_words(standing)


@register.simple_tag(takes_context=True)
def value_alone(context: Any, figure: judged.Asked) -> str:
    """A swing's figure without its ±, which the step's words carry: `49°`."""
    if figure.value is None:
        return ""
    imperial = context["user"].units == User.Units.IMPERIAL
    return amounts.value_words(figure.value, measure=figure.measure, imperial=imperial)


@register.filter
def still_to_show(assignment: Assignment, answer: stills.AnswerShown) -> stills.Still | None:
    """The still of the finding a drill is for."""
    return next((s for ln, s in answer.findings if ln.finding.pk == assignment.finding_id), None)


@register.filter
def label_at(measure: str, event: str) -> str:
    """`pelvis turn at the top`, of a measure and its moment."""
    return naming.label_of(measure, event)


@register.filter
def then_words(pair: progress.ThenNow) -> str:
    return amounts.value_words(pair.first.value, measure=pair.measure)


@register.filter
def now_words(pair: progress.ThenNow) -> str:
    return amounts.value_words(pair.last.value, measure=pair.measure)
