"""What causes what, and in which order it is worked on. Pure: a graph in, an order out.

A visible fault is often a functional compensation: the body does it because of something
earlier, and the player gets worse when it is taken away first. So a link reads "`effect`
is there because of `cause`", and a compensation is left alone while anything it rests
on is still open. Nothing here knows of hands or sides: lead and trail were settled when
the clip was measured, so a left-hander and his mirror image get the same plan.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

CAUSE, COMPENSATION, HARMLESS, STRENGTH, QUESTION, BALL = (
    "cause",
    "compensation",
    "harmless",
    "strength",
    "question",
    "ball",
)
KINDS = (CAUSE, COMPENSATION, HARMLESS, STRENGTH, QUESTION, BALL)


class State(StrEnum):
    """What is to be done with a finding now."""

    ASK = "ask"  # a question about the body, not answered yet
    WORK = "work"  # a cause that may be worked on
    HELD = "held"  # waits for the answer to a question it rests on
    LEAVE = "leave"  # a compensation whose cause is open: leave it for now
    UNEXPLAINED = "unexplained"  # a compensation, and what makes it needed is not found yet
    LOOK_AGAIN = "look_again"  # a compensation whose causes have all passed
    LIMIT = "limit"  # a limit of the body that the plan works inside
    DONE = "done"
    KEEP = "keep"  # a strength
    LET_BE = "let_be"  # looks odd and is harmless
    SHOWS = "shows"  # what the ball does: the end of the chain, never a target


@dataclass(frozen=True)
class Node:
    """A finding as the graph sees it.

    `closed`: a cause passed, or anything the coach has laid to rest. `answered`: a
    question has its answer. `limit`: its answer is a limit that was accepted.
    `practicable`: what it needs can be practised where the student is.
    """

    id: int
    kind: str
    closed: bool = False
    answered: bool = False
    limit: bool = False
    practicable: bool = True
    position: int = 0


@dataclass(frozen=True)
class Graph:
    """Findings and their links, each link an `(effect, cause)` pair of ids.

    Raises
    ------
    ValueError
        When a link names a finding that is not there, or the links run in a circle.
    """

    nodes: tuple[Node, ...]
    because: frozenset[tuple[int, int]] = frozenset()
    _by_id: dict[int, Node] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_id", {node.id: node for node in self.nodes})
        for pair in self.because:
            if not set(pair) <= self._by_id.keys():
                raise ValueError(f"the link {pair} names a finding that is not in the graph")
        if len(_upstream_first(self)) < len(self.nodes):
            raise ValueError("the links run in a circle")

    def __getitem__(self, id: int) -> Node:
        return self._by_id[id]

    def causes_of(self, id: int) -> list[int]:
        """The findings that `id` is directly there because of, in order of id."""
        return sorted(cause for effect, cause in self.because if effect == id)

    def nearest_causes(self, id: int) -> list[int]:
        """Its direct causes without those that already stand behind another of them."""
        direct = self.causes_of(id)
        behind = {up for cause in direct for up in upstream(self, cause)}
        return [cause for cause in direct if cause not in behind]

    def effects_of(self, id: int) -> list[int]:
        return sorted(effect for effect, cause in self.because if cause == id)

    def changed(self, id: int, **fields: object) -> Graph:
        """The same graph with one finding changed."""
        nodes = tuple(replace(n, **fields) if n.id == id else n for n in self.nodes)  # type: ignore[arg-type]
        return Graph(nodes, self.because)


@dataclass(frozen=True)
class Step:
    """One line of the plan. `waits_for` are the findings that hold it back."""

    id: int
    state: State
    waits_for: tuple[int, ...] = ()
    releases: tuple[int, ...] = ()


def _upstream_first(graph: Graph) -> list[int]:
    """Ids with every cause before its effects; shorter than the graph if there is a circle."""
    left = {node.id: len(graph.causes_of(node.id)) for node in graph.nodes}
    ready = sorted(id for id, count in left.items() if count == 0)
    done: list[int] = []
    while ready:
        id = ready.pop(0)
        done.append(id)
        for effect in graph.effects_of(id):
            left[effect] -= 1
            if left[effect] == 0:
                ready.append(effect)
    return done


def _reached(start: int, step: dict[int, list[int]]) -> list[int]:
    """Everything reached from `start` by `step`, nearest first, without `start`."""
    found: list[int] = []
    queue = list(step.get(start, ()))
    while queue:
        id = queue.pop(0)
        if id not in found:
            found.append(id)
            queue.extend(step.get(id, ()))
    return found


def upstream(graph: Graph, id: int) -> list[int]:
    """Everything `id` rests on, nearest first."""
    return _reached(id, {n.id: graph.causes_of(n.id) for n in graph.nodes})


def downstream(graph: Graph, id: int) -> list[int]:
    """Everything that is there because of `id`, nearest first."""
    return _reached(id, {n.id: graph.effects_of(n.id) for n in graph.nodes})


def circle(because: Iterable[tuple[int, int]], *, effect: int, cause: int) -> list[int] | None:
    """The circle that a new link would close, as a path from `effect` back to itself.

    Returns
    -------
    list of int or None
        `[effect, cause, ..., effect]`, each there because of the next; None if the link
        is sound.
    """
    causes: dict[int, list[int]] = {}
    for e, c in sorted(because):
        causes.setdefault(e, []).append(c)
    paths = [[effect, cause]]
    seen: set[int] = set()
    while paths:
        path = paths.pop(0)
        if path[-1] == effect:
            return path
        if path[-1] not in seen:
            seen.add(path[-1])
            paths.extend([*path, c] for c in causes.get(path[-1], ()))
    return None


def open_causes(graph: Graph, id: int) -> list[int]:
    """The causes `id` rests on that have not passed, and the limits that will not.

    A compensation under an accepted limit is needed for good, so the limit counts.
    """
    nodes = (graph[up] for up in upstream(graph, id))
    return [n.id for n in nodes if (n.kind == CAUSE and not n.closed) or n.limit]


def open_questions(graph: Graph, id: int) -> list[int]:
    """The unanswered questions about the body that hold `id` back."""
    nodes = (graph[up] for up in upstream(graph, id))
    return [n.id for n in nodes if n.kind == QUESTION and not (n.answered or n.closed)]


def released_by(graph: Graph, id: int) -> list[int]:
    """The compensations that become free to look at again when `id` passes, and only then."""
    if graph[id].closed:
        return []
    after = graph.changed(id, closed=True)
    return [
        down
        for down in downstream(graph, id)
        if graph[down].kind == COMPENSATION
        and not graph[down].closed
        and not open_causes(after, down)
    ]


def _weight(graph: Graph, id: int) -> int:
    """How much hangs on a finding: open causes and compensations, and what the ball does."""
    return sum(
        graph[down].kind in (CAUSE, COMPENSATION, BALL) and not graph[down].closed
        for down in downstream(graph, id)
    )


def state_of(graph: Graph, id: int) -> State:
    node = graph[id]
    if node.limit:
        return State.LIMIT
    if node.closed:
        return State.DONE
    if node.kind == STRENGTH:
        return State.KEEP
    if node.kind == HARMLESS:
        return State.LET_BE
    if node.kind == QUESTION:
        return State.DONE if node.answered else State.ASK
    if node.kind != BALL and open_questions(graph, id):
        return State.HELD
    if node.kind == BALL:
        return State.SHOWS
    if node.kind == COMPENSATION:
        return _compensation_state(graph, id)
    return State.WORK


def _compensation_state(graph: Graph, id: int) -> State:
    """Only a cause that has passed frees a compensation; one that was never named does not."""
    if open_causes(graph, id):
        return State.LEAVE
    passed = any(graph[up].kind == CAUSE and graph[up].closed for up in upstream(graph, id))
    return State.LOOK_AGAIN if passed else State.UNEXPLAINED


def may_be_targeted(graph: Graph, id: int) -> bool:
    """Whether a drill may aim at this finding without a reason given."""
    return state_of(graph, id) in (State.WORK, State.LOOK_AGAIN)


_RANK = {QUESTION: 0, CAUSE: 1, COMPENSATION: 2}


def plan(graph: Graph, *, order: Sequence[int] = ()) -> list[Step]:
    """The findings to be worked on, in order, each with what to do about it now.

    Parameters
    ----------
    order : sequence of int
        The coach's own order; ids that are not in it follow in the computed one. It
        changes the order of the lines, never what may be worked on.

    Returns
    -------
    list of Step
        Never an effect before its cause in the computed order: questions first, then
        causes by how much hangs on them, then by what can be practised where the student
        is, then as the coach wrote them down. Harmless things, strengths to keep and what
        the ball does are no work and are not in it.
    """
    computed = _computed_order(graph)
    wanted = [id for id in dict.fromkeys(order) if id in computed]
    rest = [id for id in computed if id not in wanted]
    return [
        Step(
            id=id,
            state=state_of(graph, id),
            waits_for=tuple(open_questions(graph, id) or open_causes(graph, id)),
            releases=tuple(released_by(graph, id)) if graph[id].kind == CAUSE else (),
        )
        for id in (*wanted, *rest)
    ]


def _computed_order(graph: Graph) -> list[int]:
    left = {node.id: len(graph.causes_of(node.id)) for node in graph.nodes}
    ready = [(_key(graph, id), id) for id, count in left.items() if count == 0]
    heapq.heapify(ready)
    done: list[int] = []
    while ready:
        _, id = heapq.heappop(ready)
        done.append(id)
        for effect in graph.effects_of(id):
            left[effect] -= 1
            if left[effect] == 0:
                heapq.heappush(ready, (_key(graph, effect), effect))
    return [id for id in done if graph[id].kind in _RANK]


def _key(graph: Graph, id: int) -> tuple[int, int, bool, int, int]:
    node = graph[id]
    rank = _RANK.get(node.kind, 0)  # what is no work passes its effects on at once
    return (rank, -_weight(graph, id), not node.practicable, node.position, id)
