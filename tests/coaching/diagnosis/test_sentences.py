"""Every entry, kind, state and hand as whole sentences: no broken join reaches a student."""

from __future__ import annotations

import itertools
import re

import pytest

from coaching.diagnosis.catalogue import whole
from coaching.diagnosis.causes import (
    BALL,
    CAUSE,
    COMPENSATION,
    HARMLESS,
    KINDS,
    QUESTION,
    STRENGTH,
    State,
)
from coaching.diagnosis.sentences import Said, sentence
from coaching.people.sides import sided

# The states that a finding of each kind can be in.
STATES = {
    CAUSE: (State.WORK, State.HELD, State.DONE),
    COMPENSATION: (State.LEAVE, State.UNEXPLAINED, State.LOOK_AGAIN, State.HELD, State.DONE),
    HARMLESS: (State.LET_BE, State.DONE),
    STRENGTH: (State.KEEP, State.DONE),
    QUESTION: (State.ASK, State.LIMIT, State.DONE),
    BALL: (State.SHOWS, State.DONE),
}
BROKEN = re.compile(
    r"\b(lead|trail)\b"  # never to a student
    r"|[{}]|\s\s|\s[.,;:?]|[.?!;:,][.;:,?]|None"
    r"|because (because|does|do|is|are|was|can|may|has|have|[A-Z](?![a-z]*'?m?\b)|[,.;])"
    r"|(because|and|so|the|a|to|your)[.?!]"
)
# Free words as coaches type them.
TYPED = [
    ("does turning onto your trail hip feel stiff, or does it hurt", QUESTION),
    ("Does your back hurt when you bend?", QUESTION),
    ("Your grip is weak.", CAUSE),
    ("  you  stand up; ", COMPENSATION),
    ("I see your head move", CAUSE),
]


def is_whole(text: str) -> bool:
    sentences = re.split(r"(?<=[.?!”])\s+(?=[A-Z“])", text)
    return all(re.match(r"^[A-Z“].*[.?!”]$", one) for one in sentences)


def check(text: str, of: object) -> None:
    assert is_whole(text), (of, text)
    assert not BROKEN.search(text), (of, text)


def test_every_kind_of_the_catalogue_is_tried():
    assert set(STATES) == set(KINDS)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_entry_in_every_kind_and_state(hand):
    entries = whole().entries
    tried = 0
    for entry, kind in itertools.product(entries, KINDS):
        said = Said(sided(entry.clause, hand), kind)
        causes = [Said(sided(c.clause, hand), c.kind) for c in whole().causes_of(entry.id)]
        for state, count, first in itertools.product(STATES[kind], (0, 1, 2, 3), (True, False)):
            text = sentence(
                said, state, because=causes[:count], handedness=hand,
                is_first=first and state == State.WORK, waits_for_first=first,
            )  # fmt: skip
            if state == State.DONE:
                assert text == ""
                continue
            check(text, (entry.id, kind, state, hand, count))
            tried += 1
    assert tried > 5000


@pytest.mark.parametrize(("text", "kind"), TYPED)
@pytest.mark.parametrize("hand", ["right", "left"])
def test_free_words_make_whole_sentences_as_findings_and_as_causes(text, kind, hand):
    for state in STATES[kind]:
        if state != State.DONE:
            check(sentence(Said(text, kind), state, handedness=hand), (text, state))
    for state in (State.WORK, State.LEAVE, State.LOOK_AGAIN, State.SHOWS):
        effect = Said("your hips barely turn", COMPENSATION)
        check(sentence(effect, state, because=[Said(text, kind)], handedness=hand), text)


def test_how_they_read():
    up = Said("you stand up", COMPENSATION)
    turn, steep = Said("your hips barely turn", CAUSE), Said("the club comes down steep", CAUSE)
    hip = Said("does your trail hip hurt when you turn", QUESTION)
    assert sentence(turn, State.WORK, is_first=True) == "Your hips barely turn. We start here."
    assert (
        sentence(up, State.LEAVE, because=[turn], waits_for_first=True)
        == "You stand up because your hips barely turn; we change that first."
    )
    assert (
        sentence(up, State.LEAVE, because=[turn, steep])
        == "You stand up because your hips barely turn, and because the club comes down steep."
        " Leave this for now."
    )
    assert (
        sentence(up, State.UNEXPLAINED)
        == "You stand up. What makes it needed is not found yet, so leave it for now."
    )
    assert (
        sentence(hip, State.ASK, handedness="left")
        == "Does your left hip hurt when you turn? Your coach asks this first."
    )
    assert sentence(turn, State.WORK, because=[hip]) == "Your hips barely turn."
    assert (
        sentence(Said("you strike the ball thin", BALL), State.SHOWS, because=[up])
        == "You strike the ball thin because you stand up."
    )
    assert sentence(Said("your tempo is even", STRENGTH), State.KEEP).endswith(": keep that.")
