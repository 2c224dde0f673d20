"""The targets of a step as pictures, and how a starter drill is drawn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.templatetags.static import static
from django.utils.translation import gettext as _

from analysis.drawings.moves import MOVES
from analysis.drawings.sheet import SIZE
from coaching.lessons.wording import amounts, naming
from coaching.people import sides
from coaching.practice.models import Criterion, Step

_SHOWN = 286  # points of a square that are drawn on; below them is room for words


@dataclass(frozen=True)
class Drawn:
    """One position of a drill's strip: its picture, its words, the moment it is."""

    url: str
    caption: str
    event: str


def positions_of(slug: str, handedness: str = "right") -> list[Drawn]:
    """How a starter drill is drawn; empty for a drill of one's own."""
    move = MOVES.get(slug)
    if move is None:
        return []
    file = static(f"drills/{slug}.svg")
    return [
        Drawn(
            f"{file}#svgView(viewBox({SIZE * k},0,{SIZE},{_SHOWN}))",
            sides.for_student(p.caption, handedness),
            p.event,
        )
        for k, p in enumerate(move.positions)
    ]


def seen_from(slug: str, handedness: str = "right") -> str:
    """From where a starter drill is drawn, as somebody reads it who has never held a club."""
    move = MOVES.get(slug)
    if move is None:
        return ""
    if move.view == "above":
        left = _("Seen from above. The target is to the left.")
        return left if handedness == "left" else _("Seen from above. The target is to the right.")
    if move.view == "face_on":
        return _("Seen face on. The flag is the target.")
    return _("Seen from behind, looking at the target.")


@dataclass(frozen=True)
class ShownTarget:
    """A criterion as a picture: what is aimed at, and the student at the same moment."""

    criterion: Criterion
    drawn: Drawn | None
    video: int | None  # the clip its baseline was read in
    held: bool = False  # read while a position is held, wherever in the swing that is

    @property
    def aim_words(self) -> str:
        c = self.criterion
        if c.aim is not None:
            return amounts.value_words(c.aim, measure=c.measure)
        return self.band_words

    @property
    def moment_words(self) -> str:
        return _("while you hold") if self.held else naming.at_event(self.criterion.event)

    @property
    def band_words(self) -> str:
        c = self.criterion
        return amounts.band_words(
            c.comparison, low=c.low, high=c.high, change=c.change, measure=c.measure
        )

    @property
    def was_words(self) -> str:
        c = self.criterion
        if c.baseline is None:
            return ""
        return amounts.value_words(c.baseline, c.baseline_uncertainty, measure=c.measure)


def targets_shown(
    step: Step, slug: str, handedness: str, *, criteria: Iterable[Criterion] | None = None
) -> list[ShownTarget]:
    """The targets of a step, the first one large; those a person judges have no picture.

    `criteria` in place of the stored ones, for a step that is still being written.
    """
    drawn = positions_of(slug, handedness)
    held = MOVES[slug].held if slug in MOVES else ""
    found = []
    for criterion in step.criteria.all() if criteria is None else criteria:
        if not criterion.measure:
            continue
        moments = [criterion.event]
        if step.film_kind == "hold" and criterion.event == "top" and held:
            moments = [held]
        there = [d for d in drawn if d.event in moments]
        holds = step.film_kind in ("hold", "bar") and criterion.event == "top"
        # A held club comes first in a strip, the swing with the club in the hands last.
        shown = (there[0] if step.film_kind == "bar" else there[-1]) if there else None
        found.append(ShownTarget(criterion, shown, criterion.baseline_video_id, holds))
    return found
