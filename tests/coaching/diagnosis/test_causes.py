"""The graph of causes: what may be worked on, in which order, and what a pass sets free."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.diagnosis.causes import (
    BALL,
    CAUSE,
    COMPENSATION,
    HARMLESS,
    QUESTION,
    STRENGTH,
    Graph,
    Node,
    State,
    circle,
    downstream,
    may_be_targeted,
    open_causes,
    plan,
    released_by,
    state_of,
    upstream,
)

KINDS = (CAUSE, COMPENSATION, HARMLESS, STRENGTH, QUESTION, BALL)


@st.composite
def graphs(draw, kinds=KINDS, closed=True):
    count = draw(st.integers(1, 8))
    # Ids in any order, links only from later to earlier in a hidden order: never a circle.
    hidden = draw(st.permutations(range(1, count + 1)))
    nodes = tuple(
        Node(
            id=id,
            kind=draw(st.sampled_from(kinds)),
            closed=closed and draw(st.booleans()),
            answered=draw(st.booleans()),
            practicable=draw(st.booleans()),
            position=draw(st.integers(0, 3)),
        )
        for id in range(1, count + 1)
    )
    pairs = [(hidden[i], hidden[j]) for i in range(count) for j in range(i)]
    chosen = draw(st.lists(st.sampled_from(pairs), unique=True)) if pairs else []
    return Graph(nodes, frozenset(chosen))


def upright_shaft() -> Graph:
    """Little turn (1) -> upright shaft (2) -> pelvis toward the ball (3) -> posture lost (4)."""
    nodes = (
        Node(1, CAUSE),
        Node(2, CAUSE),
        Node(3, COMPENSATION),
        Node(4, COMPENSATION),
        Node(5, STRENGTH),
        Node(6, HARMLESS),
    )
    return Graph(nodes, frozenset({(2, 1), (3, 2), (4, 3)}))


class TestStates:
    def test_a_compensation_that_nobody_explained_is_no_target(self):
        alone = Graph((Node(1, COMPENSATION),))
        assert state_of(alone, 1) == State.UNEXPLAINED
        assert not may_be_targeted(alone, 1)
        asked = Graph(
            (Node(1, COMPENSATION), Node(2, QUESTION, answered=True)), frozenset({(1, 2)})
        )
        assert state_of(asked, 1) == State.UNEXPLAINED  # an answer is no cause that passed
        passed = Graph((Node(1, COMPENSATION), Node(2, CAUSE, closed=True)), frozenset({(1, 2)}))
        assert state_of(passed, 1) == State.LOOK_AGAIN

    def test_what_the_ball_does_ends_the_chain_and_is_no_target(self):
        graph = Graph((Node(1, CAUSE), Node(2, BALL)), frozenset({(2, 1)}))
        assert state_of(graph, 2) == State.SHOWS
        assert not may_be_targeted(graph, 2)
        assert [step.id for step in plan(graph)] == [1]

    def test_a_cause_of_what_the_ball_does_comes_before_one_of_nothing(self):
        graph = Graph((Node(1, CAUSE), Node(2, CAUSE), Node(3, BALL)), frozenset({(3, 2)}))
        assert [step.id for step in plan(graph)] == [2, 1]

    def test_what_stands_behind_another_cause_is_not_nearest(self):
        graph = upright_shaft()
        longer = Graph(graph.nodes, graph.because | {(3, 1), (4, 2)})
        assert longer.nearest_causes(3) == [2] and longer.nearest_causes(4) == [3]

    def test_a_compensation_is_left_while_a_cause_is_open(self):
        graph = upright_shaft()
        assert state_of(graph, 3) is State.LEAVE
        assert open_causes(graph, 4) == [2, 1]
        assert not may_be_targeted(graph, 3)

    def test_causes_come_first_and_the_deepest_before_what_it_causes(self):
        assert [step.id for step in plan(upright_shaft())] == [1, 2, 3, 4]
        assert [step.state for step in plan(upright_shaft())] == ["work", "work", "leave", "leave"]

    def test_strengths_and_harmless_things_are_no_work(self):
        assert {step.id for step in plan(upright_shaft())}.isdisjoint({5, 6})
        assert state_of(upright_shaft(), 5) is State.KEEP
        assert state_of(upright_shaft(), 6) is State.LET_BE

    def test_a_pass_releases_what_rests_on_nothing_else(self):
        graph = upright_shaft().changed(1, closed=True)
        assert released_by(upright_shaft(), 1) == []
        assert released_by(graph, 2) == [3, 4]
        assert state_of(graph.changed(2, closed=True), 3) is State.LOOK_AGAIN

    def test_a_question_holds_only_what_depends_on_it(self):
        nodes = (Node(1, QUESTION), Node(2, CAUSE), Node(3, CAUSE))
        graph = Graph(nodes, frozenset({(2, 1)}))
        states = {step.id: step.state for step in plan(graph)}
        assert states == {1: "ask", 2: "held", 3: "work"}
        assert state_of(graph.changed(1, answered=True), 2) is State.WORK

    def test_what_rests_on_an_accepted_limit_stays(self):
        nodes = (
            Node(1, QUESTION, answered=True, limit=True),
            Node(2, CAUSE),
            Node(3, COMPENSATION),
        )
        graph = Graph(nodes, frozenset({(2, 1), (3, 1)}))
        assert state_of(graph, 1) is State.LIMIT
        assert state_of(graph, 2) is State.WORK
        assert state_of(graph, 3) is State.LEAVE

    def test_of_two_causes_the_one_that_can_be_practised_here_comes_first(self):
        graph = Graph((Node(1, CAUSE, practicable=False), Node(2, CAUSE)), frozenset())
        assert [step.id for step in plan(graph)] == [2, 1]

    def test_the_coach_reorders_freely_and_the_rest_follows(self):
        steps = plan(upright_shaft(), order=[3, 99, 3])
        assert [step.id for step in steps] == [3, 1, 2, 4]
        assert steps[0].state is State.LEAVE  # the order never turns it into a target


class TestCircles:
    def test_the_path_of_a_circle_is_named(self):
        because = {(2, 1), (3, 2), (4, 3)}
        assert circle(because, effect=1, cause=4) == [1, 4, 3, 2, 1]
        assert circle(because, effect=4, cause=1) is None
        assert circle(because, effect=2, cause=2) == [2, 2]

    def test_a_graph_with_a_circle_is_refused(self):
        with pytest.raises(ValueError, match="circle"):
            Graph((Node(1, CAUSE), Node(2, CAUSE)), frozenset({(1, 2), (2, 1)}))

    def test_a_link_to_nowhere_is_refused(self):
        with pytest.raises(ValueError, match="not in the graph"):
            Graph((Node(1, CAUSE),), frozenset({(1, 2)}))

    @given(graphs(), st.data())
    def test_a_link_is_called_sound_exactly_when_the_graph_takes_it(self, graph, data):
        ids = [node.id for node in graph.nodes]
        effect, cause = data.draw(st.sampled_from(ids)), data.draw(st.sampled_from(ids))
        path = circle(graph.because, effect=effect, cause=cause)
        links = graph.because | {(effect, cause)}
        if path is None:
            Graph(graph.nodes, links)
        else:
            assert path[0] == path[-1] == effect
            assert all(pair in links for pair in itertools.pairwise(path))
            with pytest.raises(ValueError, match="circle"):
                Graph(graph.nodes, links)


class TestProperties:
    @given(graphs())
    def test_no_plan_targets_a_compensation_with_an_open_cause(self, graph):
        for step in plan(graph):
            if graph[step.id].kind == COMPENSATION and open_causes(graph, step.id):
                assert step.state in (State.LEAVE, State.HELD, State.DONE)
                assert graph[step.id].closed or not may_be_targeted(graph, step.id)

    @given(graphs())
    def test_passing_all_causes_frees_every_compensation(self, graph):
        for node in graph.nodes:
            if node.kind == CAUSE:
                graph = graph.changed(node.id, closed=True)
            if node.kind == QUESTION:
                graph = graph.changed(node.id, answered=True)
        for node in graph.nodes:
            if node.kind == COMPENSATION and state_of(graph, node.id) != State.DONE:
                passed = any(graph[up].kind == CAUSE for up in upstream(graph, node.id))
                free = State.LOOK_AGAIN if passed else State.UNEXPLAINED
                assert state_of(graph, node.id) == free

    @given(graphs(), st.randoms(use_true_random=False))
    def test_the_order_is_stable(self, graph, random):
        shuffled = list(graph.nodes)
        random.shuffle(shuffled)
        assert plan(Graph(tuple(shuffled), graph.because)) == plan(graph)

    @given(graphs())
    def test_the_computed_order_never_puts_an_effect_before_its_cause(self, graph):
        place = {step.id: i for i, step in enumerate(plan(graph))}
        for node in graph.nodes:
            for effect in downstream(graph, node.id):
                if node.id in place and effect in place:
                    assert place[node.id] < place[effect]

    @given(graphs(), st.lists(st.integers(1, 8)))
    def test_a_coachs_order_changes_places_never_states(self, graph, order):
        ordered = sorted(plan(graph, order=order), key=lambda step: step.id)
        assert ordered == sorted(plan(graph), key=lambda step: step.id)

    @given(graphs(kinds=(CAUSE, COMPENSATION), closed=False))
    def test_closing_a_cause_never_takes_a_freed_finding_back(self, graph):
        for node in graph.nodes:
            if node.kind == CAUSE:
                released = set(released_by(graph, node.id))
                after = graph.changed(node.id, closed=True)
                free = {n.id for n in after.nodes if state_of(after, n.id) is State.LOOK_AGAIN}
                assert released <= free
