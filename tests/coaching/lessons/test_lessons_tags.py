"""The span and the stones: geometry in closed form, then what the page holds."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.template import Context, Template
from django.utils import timezone

from coaching.lessons.cause_graph import draw_narrow, draw_wide, layers_of
from coaching.lessons.estimates import Band
from coaching.lessons.interval_marks import MARGIN, draw_interval_mark


def page(source: str, **context: object) -> str:
    """The page as it reads: a browser takes a line break for a blank."""
    html = Template("{% load lessons_tags %}" + source).render(Context(context))
    return " ".join(html.split())


def test_marks_stand_in_order_on_the_rule() -> None:
    d = draw_interval_mark(value=38, uncertainty=2, band=Band(40, 45), baseline=21)
    assert d.whisker and d.band and d.baseline
    assert d.left < d.baseline < d.whisker[0] < d.value < d.band[0] < d.whisker[1] < d.band[1]
    assert d.band[1] < d.right
    # The whisker is two standard deviations on each side, the band five degrees wide.
    assert d.whisker[1] - d.whisker[0] == pytest.approx(8 / 5 * (d.band[1] - d.band[0]), abs=0.4)
    assert d.value == pytest.approx(sum(d.whisker) / 2, abs=0.1)


def test_open_side_reaches_the_edge() -> None:
    d = draw_interval_mark(value=38, uncertainty=2, band=Band(low=40))
    assert d.band and d.band[1] == d.right and d.high is None
    d = draw_interval_mark(value=38, uncertainty=2, band=Band(high=30))
    assert d.band and d.band[0] == MARGIN and d.low is None


def test_small_difference_looks_small() -> None:
    near = draw_interval_mark(value=40.1, uncertainty=0.1, band=Band(low=40), least_range=20)
    assert near.band and near.value - near.band[0] < 0.01 * near.width


def test_one_mark_alone_stands_in_the_middle() -> None:
    d = draw_interval_mark(value=12.0)
    assert d.value == d.width / 2 and d.band is None and d.whisker is None


def test_span_says_what_it_draws() -> None:
    figure = SimpleNamespace(value=38.0, uncertainty=2.0, measure="pelvis_turn_deg", event="top")
    asked = SimpleNamespace(
        comparison="between", low=40.0, high=45.0, change=None, baseline=21.0,
        baseline_uncertainty=2.0, measure="pelvis_turn_deg", event="top",
    )  # fmt: skip
    html = page("{% interval_mark figure criterion=asked label=True %}", figure=figure, asked=asked)
    assert "38° ± 4 at the top; asked for 40–45°; before 21° ± 4" in html
    assert ">close<" in html and "<svg" in html
    # A strict content policy allows neither.
    assert "style=" not in html and "<style" not in html


def test_span_without_words_has_a_text_alternative() -> None:
    html = page(
        '{% interval_mark value=38.0 uncertainty=2.0 measure="pelvis_turn_deg" event="top" low=40.0'
        " text=False %}"
    )
    assert 'role="img" aria-label="38° ± 4 at the top; asked for' in html


def test_without_a_reference_the_number_stands_alone() -> None:
    source = (
        '{% interval_mark value=38.0 uncertainty=2.0 measure="pelvis_turn_deg" event="top" EXTRA %}'
    )
    for extra in ("", "text=False"):
        html = page(source.replace("EXTRA", extra))
        assert "38° ± 4 at the top" in html and "<svg" not in html
    assert "<svg" in page(source.replace("EXTRA", "baseline=21.0"))


def test_a_promise_has_a_word_a_mark_and_a_colour() -> None:
    now = timezone.now()
    for hours, mark in ((-1, "past"), (3, "soon"), (30, "")):
        html = page("{% left when %}", when=now + timedelta(hours=hours, minutes=5))
        assert f'class="left {mark}"' in html and "</time>" in html


def test_absent_figure_says_why() -> None:
    html = page('{% interval_mark reason="shaft_end_on" measure="shaft_pitch_deg" event="top" %}')
    assert "at the top: the club points at the camera there" in html and "<svg" not in html


def test_units_of_the_reader() -> None:
    source = '{% interval_mark value=10.16 uncertainty=2.54 measure="hand_depth_cm" event="top" %}'
    assert "10 cm ± 5" in page(source)
    assert "4 in ± 2" in page(source, user=SimpleNamespace(units="imperial"))


GRAPH = {
    "nodes": [
        {"id": i, "label": f"finding {i}", "state": state}
        for i, state in enumerate(["way", "leave", "done", "keep", "stop"])
    ],
    "edges": [[0, 1], [1, 2], [0, 2], [0, 4]],
}


def test_layers_are_the_longest_way_from_a_first_cause() -> None:
    assert layers_of(range(5), [(0, 1), (1, 2), (0, 2), (0, 4)]) == {0: 0, 1: 1, 2: 2, 3: 0, 4: 1}


def test_a_cycle_ends() -> None:
    assert set(layers_of([1, 2], [(1, 2), (2, 1)])) == {1, 2}
    draw_wide({"nodes": GRAPH["nodes"], "edges": [[0, 1], [1, 0]]})


@pytest.mark.parametrize("axis", ["x", "y"])
def test_causes_come_before_effects(axis: str) -> None:
    path = draw_wide(GRAPH) if axis == "x" else draw_narrow(GRAPH)
    place = {stone.id: getattr(stone, axis) for stone in path.stones}
    assert all(place[cause] < place[effect] for cause, effect in GRAPH["edges"])
    assert len(path.edges) == len(path.arrows) == 4


def test_no_two_stones_share_a_place() -> None:
    for path in (draw_wide(GRAPH), draw_narrow(GRAPH)):
        places = {(stone.x, stone.y) for stone in path.stones}
        assert len(places) == 5
        assert all(0 < stone.x < path.width and 0 < stone.y < path.height for stone in path.stones)


def test_stones_are_told_in_words_too() -> None:
    html = page("{% cause_graph graph %}", graph=GRAPH)
    assert "finding 1, because of finding 0." in html
    assert page("{% cause_graph graph %}", graph={"nodes": [], "edges": []}).strip() == ""
