"""What every page draws the same way: interval marks, the cause graph, time left, the menu."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from django import template
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _

from coaching.lessons import shell
from coaching.lessons.cause_graph import draw_narrow, draw_wide
from coaching.lessons.interval_marks import Marked
from coaching.lessons.wording import amounts, codes, deadlines, held_club, naming
from coaching.people import ties
from coaching.people.models import User

register = template.Library()


@register.inclusion_tag("parts/interval_mark.html", takes_context=True)
def interval_mark(
    context: Any,
    figure: Any = None,
    *,
    criterion: Any = None,
    size: str = "row",
    label: bool = False,
    text: bool = True,
    **named: Any,
) -> dict[str, Any]:
    """A figure as a mark with its words beside it.

    `{% interval_mark measurement criterion=criterion %}`, or the same values by name. `figure` is
    anything with `value`, `uncertainty`, `measure`, `event` and perhaps `reason`, `unit`;
    `criterion` anything with `comparison`, `low`, `high`, `change`, `baseline`; `named` are
    fields of `Marked`.
    `size` is `row` or `page`; `label=True` puts the measure's name first; `text=False`
    leaves the words to the picture's text alternative (for a cell beside its words).
    """
    marked = Marked.of(figure, criterion, **named)
    drawing = marked.drawn(size)
    shown = _words_of(marked, imperial=_imperial(context), size=size)
    return shown | {
        "label": naming.label_of(marked.measure) if label else "",
        "size": size,
        "text": text or (marked.value is not None and drawing is None),
        "drawing": drawing,
    }


def _words_of(marked: Marked, *, imperial: bool, size: str) -> dict[str, Any]:
    """What stands beside an interval mark, and at the edges of its band on a page."""
    of_it: dict[str, Any] = {"measure": marked.measure, "unit": marked.unit, "imperial": imperial}
    asked = amounts.band_words(
        marked.comparison, low=marked.low, high=marked.high, change=marked.change, **of_it
    )
    if marked.value is None:
        reason = codes.reason_words(marked.reason or "not_ready")
        event = naming.at_event(marked.event) if marked.event else ""
        return {"asked": asked, "standing": marked.standing, "reason": reason, "event": event}
    words: dict[str, Any] = {
        "asked": asked,
        "standing": marked.standing,
        "standing_words": codes.standing_words(marked.standing),
        "value_words": amounts.value_words(
            marked.value, marked.uncertainty, event=marked.event, **of_it
        ),
    }
    if marked.baseline is not None:
        words["baseline_words"] = amounts.value_words(
            marked.baseline, marked.baseline_uncertainty, **of_it
        )
    if size == "page" and marked.band:
        words["low_label"], words["high_label"] = (
            edge if edge is None else amounts.value_words(edge, **of_it)
            for edge in marked.band.edges
        )
    return words


def _field(row: Any, name: str, otherwise: Any) -> Any:
    found = row.get(name) if isinstance(row, Mapping) else getattr(row, name, None)
    return otherwise if found is None else found


def _imperial(context: Any) -> bool:
    user = context.get("user") or getattr(context.get("request"), "user", None)
    return getattr(user, "units", "") == User.Units.IMPERIAL


@register.inclusion_tag("parts/drawing.html")
def drawing(measure: str) -> dict[str, Any]:
    """The small mark that opens a measure's picture; `drawings` must stand on the page."""
    return {"measure": measure, "label": naming.label_of(measure)}


@register.inclusion_tag("parts/drawings.html")
def drawings(measures: Iterable[str]) -> dict[str, Any]:
    """Each measure's picture with one sentence, shut; fetched when it is opened."""
    return {
        "picture": "measures/",
        "drawn": [
            (m, naming.label_of(m), naming.meaning_of(m))
            for m in dict.fromkeys(measures)
            if m in naming.MEASURES
        ],
    }


@register.inclusion_tag("parts/cause_graph.html")
def cause_graph(graph: Mapping[str, Any], heading: str = "") -> dict[str, Any]:
    """Findings from causes to what is seen; `graph` as in `coaching.lessons.cause_graph`."""
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
        "text": " ".join([label + ":", *sentences]),
    }


@register.inclusion_tag("parts/state_mark.html")
def state_mark(state: str, size: str = "") -> dict[str, Any]:
    """The mark of a state, `m` and `l` larger; its word must stand beside it."""
    return {"state": state, "size": size}


@register.simple_tag
@cache
def icon(name: str, size: str = "") -> str:
    """An icon of the sprite (`.ci/icons.py`), `s` for small; its word must stand beside it."""
    return format_html(
        '<svg class="icon{}" aria-hidden="true" focusable="false"><use href="{}#i-{}"/></svg>',
        f" {size}" if size else "",
        static("vendor/icons.svg"),
        name,
    )


class SidesNode(template.Node):
    def __init__(self, student: template.base.FilterExpression, nodes: template.NodeList) -> None:
        self.student, self.nodelist = student, nodes

    def render(self, context: Any) -> str:
        student = self.student.resolve(context)
        if student is None or ties.of(context["user"]).is_staff(student):
            return self.nodelist.render(context)
        with naming.sides_of(student.handedness):
            return self.nodelist.render(context)


@register.tag
def sides(parser: Any, token: Any) -> SidesNode:
    """`{% sides student %} … {% endsides %}`: left and right for the student's side, by hand.

    Staff read lead and trail, as it is stored.
    """
    _name, student = token.split_contents()
    nodes = parser.parse(("endsides",))
    parser.delete_first_token()
    return SidesNode(parser.compile_filter(student), nodes)


@register.simple_tag
def promise(when: datetime) -> str:
    """`answer by Monday evening`, with its moment for machines."""
    return format_html(
        '<time datetime="{}">{}</time>',
        timezone.localtime(when).isoformat(timespec="minutes"),
        _("answer by %(time)s") % {"time": deadlines.promise_words(when)},
    )


@register.filter
def side_word(side: str) -> str:
    return naming.side_word(side)


@register.filter
def as_read(text: str) -> str:
    """What somebody typed, inside `{% sides %}`: left and right for the student's side."""
    return naming.as_read(str(text))


@register.filter
def time_left(when: datetime | None) -> str:
    return (
        "" if when is None else deadlines.time_left_words((when - timezone.now()).total_seconds())
    )


SOON = timedelta(hours=8)


def time_state(when: datetime) -> str:
    """`past`, `soon` or nothing: the mark and the colour of a promise, beside its words."""
    remaining = when - timezone.now()
    return "past" if remaining < timedelta(0) else "soon" if remaining < SOON else ""


@register.simple_tag
def left(when: datetime) -> str:
    """A promise: how long is left, with its moment for machines."""
    moment = timezone.localtime(when)
    return format_html(
        '<time class="left {}" datetime="{}" title="{}">{}</time>',
        time_state(when),
        moment.isoformat(timespec="minutes"),
        date_format(moment, "DATETIME_FORMAT"),
        time_left(when),
    )


@register.simple_tag
def quality(code: str) -> codes.Advice:
    """What a quality code tells: `.seen` and `.do`."""
    return codes.quality_message(code)


@register.simple_tag
def clip_state_words(state: str) -> str:
    return str(codes.CLIP_STATES.get(state, state))


@register.filter
def label_of(figure: Any) -> str:
    """`pelvis turn at the top`, of a figure, a criterion or a measure's id."""
    if isinstance(figure, str):
        return naming.label_of(figure)
    return naming.label_of(figure.measure, figure.event)


# The words of the one table, under their own names.
for words in (
    naming.meaning_of, naming.at_event, naming.event_name,
    naming.view_name, naming.view_from, naming.kind_name,
):  # fmt: skip
    register.filter(words.__name__, words)


@register.filter
def film_name(angle: Any) -> str:
    """What an angle asks to be filmed: `turn with a club across the hips`."""
    return naming.film_name(angle.kind, angle.bar_across)


@register.filter
def film_asked(angle: Any) -> str:
    """One angle in a row: `5 × full swing, face on, 7-iron, normal speed, with a ball`."""
    view = naming.view_from(angle.view)
    if angle.kind == "setup":
        return ", ".join(filter(None, [_("how you stand"), view, angle.club]))
    what = _("one {film}") if angle.repetitions == 1 else _("{count} × {film}")
    what = what.format(count=angle.repetitions, film=film_name(angle))
    how = [angle.get_effort_display(), angle.get_ball_display()]
    return ", ".join(filter(None, [what, view, angle.club, *how]))


@register.filter
def reason_words(code: str) -> str:
    return codes.reason_words(code)


@register.simple_tag(takes_context=True)
def value_words(context: Any, figure: Any, at: bool = True) -> str:
    """A figure in words only: `38° ± 4 at the top`."""
    if figure.value is None:
        return codes.reason_words(_field(figure, "reason", "") or "not_ready")
    return amounts.value_words(
        figure.value,
        figure.uncertainty,
        measure=figure.measure,
        event=figure.event if at else "",
        imperial=_imperial(context),
    )


@register.simple_tag(takes_context=True)
def asked_words(context: Any, criterion: Any) -> str:
    """What a criterion asks for: `pelvis turn at the top, 40–45°`, or its question."""
    if criterion.question:
        return naming.as_read(str(criterion.question))
    band = amounts.band_words(
        criterion.comparison,
        low=criterion.low,
        high=criterion.high,
        change=criterion.change,
        measure=criterion.measure,
        imperial=_imperial(context),
    )
    return f"{naming.label_of(criterion.measure, criterion.event)}: {band}"


@register.simple_tag(takes_context=True)
def asked_plainly(context: Any, criterion: Any) -> str:
    """What a criterion asks of its student, without a word of the trade."""
    if criterion.question:
        return naming.as_read(str(criterion.question))
    band = asked_words(context, criterion).rpartition(": ")[2]
    return f"{naming.meaning_of(criterion.measure)}, {naming.at_event(criterion.event)}: {band}"


@register.simple_tag(takes_context=True)
def stature(context: Any, stature_cm: float | None) -> str:
    return amounts.stature_words(stature_cm, imperial=_imperial(context))


@register.simple_tag(takes_context=True)
def club_length(context: Any, club_cm: float) -> str:
    """`94 cm` or `37 in`, as the film page takes it."""
    number, unit = amounts.shown(club_cm, "cm", imperial=_imperial(context))
    return f"{number:.1f}".removesuffix(".0") + f" {unit}"


@register.filter
def turn_of(across: str) -> str:
    """Whose turn a club held there shows: `turn of the hips`."""
    return str(naming.ACROSS[across][1])


@register.simple_tag
def difference_words(bias: Any) -> str:
    return held_club.difference_words(bias.mean, bias.u)


@register.simple_tag
def agreement_words(found: Any) -> str:
    """Of an `analysis.core.agreement.Agreement`, in one or two sentences."""
    return held_club.agreement_words(
        persons=found.persons,
        pairs=found.pairs,
        mean=(found.mean, found.mean_u),
        low=found.low,
        high=found.high,
        limit_u=found.limit_u,
    )


@register.simple_tag(takes_context=True)
def navigation(context: Any) -> list[dict[str, Any]]:
    """The signed-in person's few ways, by role."""
    bound, path = ties.of(context["user"]), context["request"].path
    learners = list(bound.students.values())[:2]
    items: list[dict[str, Any]] = []

    def add(item: shell.Item, *args: Any, **more: Any) -> None:
        url = reverse(item.url_name, args=args)
        here = path == url or (bool(item.under) and path.startswith(item.under))
        items.append({"label": item.label, "icon": item.icon, "url": url, "here": here} | more)

    if bound.studios:
        for item in shell.coach_menu:
            add(item, count=item.count)
    if len(learners) == 1 and learners[0].joined_at is None:
        pass  # one step at a time until the way in is done
    elif len(learners) == 1:
        for item in shell.learner_menu:
            add(item, learners[0].pk, mark=item.mark)
    elif learners:
        add(shell.Item(0, _("Students"), "home", icon="people"))
    add(shell.Item(0, _("You"), "people:profile", icon="user"), last=True)
    return items
