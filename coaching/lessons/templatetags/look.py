"""What every page draws the same way: spans, stones, time left, the navigation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _

from coaching.lessons import words
from coaching.lessons.spans import draw_span
from coaching.lessons.stones import draw_narrow, draw_wide
from coaching.people import access
from coaching.people.models import User

register = template.Library()


@register.inclusion_tag("look/span.html", takes_context=True)
def span(
    context: Any,
    figure: Any = None,
    *,
    criterion: Any = None,
    value: float | None = None,
    uncertainty: float | None = None,
    reason: str = "",
    measure: str = "",
    event: str = "",
    unit: str = "",
    comparison: str = "",
    low: float | None = None,
    high: float | None = None,
    change: float | None = None,
    baseline: float | None = None,
    baseline_u: float | None = None,
    size: str = "row",
    label: bool = False,
    text: bool = True,
) -> dict[str, Any]:
    """A figure as a mark with its words beside it.

    `{% span measurement criterion=criterion %}`, or the same values by name. `figure` is
    anything with `value`, `uncertainty`, `measure`, `event` and perhaps `reason`, `unit`;
    `criterion` anything with `comparison`, `low`, `high`, `change`, `baseline`.
    `size` is `row` or `page`; `label=True` puts the measure's name first; `text=False`
    leaves the words to the picture's text alternative (for a cell beside its words).
    """
    if figure is not None:
        value, uncertainty = (
            _field(figure, "value", value),
            _field(figure, "uncertainty", uncertainty),
        )
        measure, event = _field(figure, "measure", measure), _field(figure, "event", event)
        unit, reason = _field(figure, "unit", unit), _field(figure, "reason", reason)
    if criterion is not None:
        comparison = _field(criterion, "comparison", comparison)
        low, high = _field(criterion, "low", low), _field(criterion, "high", high)
        change, baseline = (
            _field(criterion, "change", change),
            _field(criterion, "baseline", baseline),
        )
        baseline_u = _field(criterion, "baseline_uncertainty", baseline_u)
        measure, event = measure or criterion.measure, event or criterion.event
    if not comparison and (low is not None or high is not None):
        comparison = "between"
    imperial = _imperial(context)
    unit = unit or words.unit_of(measure)
    reading = words.reading_of(
        value, uncertainty, low, high, comparison,
        change=change, baseline=baseline, baseline_uncertainty=baseline_u,
    )  # fmt: skip
    asked = words.band_words(
        comparison, low=low, high=high, change=change, measure=measure, unit=unit, imperial=imperial
    )
    figures: dict[str, Any] = {
        "label": words.label_of(measure) if label else "",
        "asked": asked,
        "reading": reading,
        "reading_words": words.reading_words(reading),
        "size": size,
        "text": text,
        "reason": "",
        "drawing": None,
    }
    if value is None:
        figures["reason"] = words.reason_words(reason or "not_ready")
        figures["event"] = words.at_event(event) if event else ""
        figures["reading_words"] = ""
        return figures
    figures["drawing"] = draw_span(
        value=value, uncertainty=uncertainty, comparison=comparison, low=low, high=high,
        change=change, baseline=baseline, size=size, least_range=_least_range(unit),
    )  # fmt: skip
    figures["value_words"] = words.value_words(
        value, uncertainty, unit=unit, measure=measure, event=event, imperial=imperial
    )
    if baseline is not None:
        figures["baseline_words"] = words.value_words(
            baseline, baseline_u, unit=unit, measure=measure, imperial=imperial
        )
    if size == "page":
        edges = words.band_of(comparison, low=low, high=high, change=change, baseline=baseline)
        figures["low_label"], figures["high_label"] = (
            edge if edge is None else words.value_words(edge, measure=measure, imperial=imperial)
            for edge in edges
        )
    return figures


def _field(row: Any, name: str, otherwise: Any) -> Any:
    found = row.get(name) if isinstance(row, Mapping) else getattr(row, name, None)
    return otherwise if found is None else found


def _imperial(context: Any) -> bool:
    user = context.get("user") or getattr(context.get("request"), "user", None)
    return getattr(user, "units", "") == User.Units.IMPERIAL


def _least_range(unit: str) -> float:
    return {"deg": 20.0, "cm": 10.0, "%": 20.0, "s": 0.4, "m/s": 4.0}.get(unit, 1.0)


@register.inclusion_tag("look/drawing.html")
def drawing(measure: str) -> dict[str, Any]:
    """The small mark that opens a measure's picture; `drawings` must stand on the page."""
    return {"measure": measure, "label": words.label_of(measure)}


@register.inclusion_tag("look/drawings.html")
def drawings(measures: Iterable[str]) -> dict[str, Any]:
    """Each measure's picture with one sentence, shut; fetched when it is opened."""
    return {
        "picture": "measures/",
        "drawn": [
            (m, words.label_of(m), words.meaning_of(m))
            for m in dict.fromkeys(measures)
            if m in words.MEASURES
        ],
    }


@register.inclusion_tag("look/stones.html")
def stones(graph: Mapping[str, Any], heading: str = "") -> dict[str, Any]:
    """Findings as stones on a path; `graph` as in `coaching.lessons.stones`."""
    label = heading or _("What causes what")
    by_id = {node["id"]: node["label"] for node in graph["nodes"]}
    sentences = [
        _("%(effect)s, because of %(cause)s.") % {"effect": by_id[e], "cause": by_id[c]}
        for c, e in graph["edges"]
        if c in by_id and e in by_id
    ]
    return {
        "nodes": graph["nodes"],
        "wide": draw_wide(graph),
        "narrow": draw_narrow(graph),
        "label": label,
        "words": " ".join([label + ":", *sentences]),
    }


@register.inclusion_tag("look/stone.html")
def stone(state: str) -> dict[str, Any]:
    """The small mark of a state; its word must stand beside it."""
    return {"state": state}


@register.filter
def time_left(when: datetime | None) -> str:
    return "" if when is None else words.time_left_words((when - timezone.now()).total_seconds())


@register.simple_tag
def left(when: datetime) -> str:
    """A promise: how long is left, with its moment for machines."""
    moment = timezone.localtime(when)
    return format_html(
        '<time datetime="{}" title="{}">{}</time>',
        moment.isoformat(timespec="minutes"),
        date_format(moment, "DATETIME_FORMAT"),
        time_left(when),
    )


@register.simple_tag
def quality(code: str) -> words.Told:
    """What a quality code tells: `.seen` and `.do`."""
    return words.quality_told(code)


@register.simple_tag
def clip_state_words(state: str) -> str:
    return str(words.CLIP_STATES.get(state, state))


@register.filter
def label_of(figure: Any) -> str:
    """`pelvis turn at the top`, of a figure, a criterion or a measure's id."""
    if isinstance(figure, str):
        return words.label_of(figure)
    return words.label_of(figure.measure, figure.event)


@register.filter
def meaning_of(measure: str) -> str:
    return words.meaning_of(measure)


@register.filter
def at_event(event: str) -> str:
    return words.at_event(event)


@register.filter
def event_name(event: str) -> str:
    return words.event_name(event)


@register.filter
def view_name(view: str) -> str:
    return words.view_name(view)


@register.filter
def view_from(view: str) -> str:
    return words.view_from(view)


@register.filter
def kind_name(kind: str) -> str:
    return words.kind_name(kind)


@register.filter
def film_name(angle: Any) -> str:
    """What an angle asks to be filmed: `turn with a club across the hips`."""
    return words.film_name(angle.kind, angle.bar_across)


@register.filter
def reason_words(code: str) -> str:
    return words.reason_words(code)


@register.simple_tag(takes_context=True)
def value_words(context: Any, figure: Any, at: bool = True) -> str:
    """A figure in words only: `38° ± 4 at the top`."""
    if figure.value is None:
        return words.reason_words(_field(figure, "reason", "") or "not_ready")
    return words.value_words(
        figure.value,
        figure.uncertainty,
        measure=figure.measure,
        event=figure.event if at else "",
        imperial=_imperial(context),
    )


@register.simple_tag(takes_context=True)
def asked_words(context: Any, criterion: Any) -> str:
    """What a criterion asks for: `pelvis turn at the top, 40–45°`, or its question."""
    if criterion.comparison == "self_test":
        return str(criterion.question)
    band = words.band_words(
        criterion.comparison,
        low=criterion.low,
        high=criterion.high,
        change=criterion.change,
        measure=criterion.measure,
        imperial=_imperial(context),
    )
    return f"{words.label_of(criterion.measure, criterion.event)}: {band}"


@register.simple_tag(takes_context=True)
def stature(context: Any, stature_cm: float | None) -> str:
    return words.stature_words(stature_cm, imperial=_imperial(context))


@register.simple_tag(takes_context=True)
def club_length(context: Any, club_cm: float) -> str:
    """`94 cm` or `37 in`, as the film page takes it."""
    number, unit = words.shown(club_cm, "cm", imperial=_imperial(context))
    return f"{number:.1f}".removesuffix(".0") + f" {unit}"


@register.filter
def turn_of(across: str) -> str:
    """Whose turn a club held there shows: `turn of the hips`."""
    return str(words.ACROSS[across][1])


@register.simple_tag
def difference_words(bias: Any) -> str:
    return words.difference_words(bias.mean, bias.u)


@register.simple_tag
def agreement_words(found: Any) -> str:
    """Of an `analysis.core.agreement.Agreement`, in one or two sentences."""
    return words.agreement_words(
        persons=found.persons,
        pairs=found.pairs,
        mean=(found.mean, found.mean_u),
        low=found.low,
        high=found.high,
        limit_u=found.limit_u,
    )


@register.simple_tag(takes_context=True)
def navigation(context: Any) -> list[dict[str, Any]]:
    """The signed-in person's few ways, by role; two queries."""
    user = context["user"]
    teaches = access.studios(user).exists()
    learners = list(access.acts_as(user).order_by("pk")[:2])
    items: list[dict[str, Any]] = []

    def add(label: str, name: str, *args: Any, mark: str = "", last: bool = False) -> None:
        try:
            url = reverse(name, args=args)
        except NoReverseMatch:  # a slice that is not installed
            return
        items.append({"label": label, "url": url, "mark": mark, "last": last})

    if teaches:
        add(_("Waiting"), "desk:waiting")
        add(_("Students"), "desk:students")
        add(_("Drills"), "practice:library")
        add(_("Practice"), "desk:practice")
    if len(learners) == 1 and learners[0].joined_at is None:
        pass  # one step at a time until the way in is done
    elif len(learners) == 1:
        learner = learners[0]
        add(_("Today"), "desk:mine", learner.pk)
        add(_("Thread"), "lessons:thread", learner.pk)
        add(_("Progress"), "practice:progress", learner.pk)
        add(_("It hurts"), "practice:pain", learner.pk, mark="hurts")
    elif learners:
        add(_("Students"), "desk:home")
    add(_("You"), "people:profile", last=True)
    return items
