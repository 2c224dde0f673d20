"""Lead and trail as left and right: what a student reads, by the hand they play with."""

from __future__ import annotations

import re

RIGHT, LEFT = "right", "left"
_SLOT = re.compile(r"\{(lead|trail)\}")


def side_of(end: str, handedness: str) -> str:
    """`left` or `right` for `lead` or `trail`; a right-hander's lead side is the left."""
    is_lead, is_right_hander = end == "lead", handedness != LEFT
    return LEFT if is_lead == is_right_hander else RIGHT


def end_of(side: str, handedness: str) -> str:
    """`lead` or `trail` for `left` or `right`; anything else stays as it is."""
    if side not in (LEFT, RIGHT):
        return side
    return "lead" if side == side_of("lead", handedness) else "trail"


def sided(text: str, handedness: str) -> str:
    """`your {lead} arm` as `your left arm`."""
    return _SLOT.sub(lambda slot: side_of(slot[1], handedness), text)


# What a coach types of a body or a club: "lead arm", "the trail side".
PARTS = [
    "arm",
    "elbow",
    "wrist",
    "hand",
    "shoulder",
    "hip",
    "leg",
    "knee",
    "foot",
    "heel",
    "ankle",
    "thigh",
    "pocket",
    "side",
]
_TYPED = re.compile(rf"\b([Ll]ead|[Tt]rail)(?= (?:{'|'.join(PARTS)})s?\b)")


def for_student(text: str, handedness: str) -> str:
    """Words with no lead and trail in them: slots, and what was typed of a body part."""

    def side(word: re.Match[str]) -> str:
        found = side_of(word[1].lower(), handedness)
        return found.capitalize() if word[1][0].isupper() else found

    return _TYPED.sub(side, sided(text, handedness))


def without_sides(text: str) -> str:
    """`your {lead} arm` as `your lead arm`: for coaches, whatever the hand."""
    return _SLOT.sub(r"\1", text)
