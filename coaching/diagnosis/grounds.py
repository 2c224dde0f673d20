"""What became of the figure a finding rests on: it stands, has changed, or holds no more.

A correction or a newer pipeline gives a clip other figures. A draft's findings follow at
once; one that was sent keeps what was sent, and says what the figure reads now.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from analysis.models import Measurement, Run
from coaching.diagnosis.catalogue import CLUBS, Catalogue, Sign
from coaching.diagnosis.entries import catalogue_of
from coaching.diagnosis.models import Finding
from coaching.diagnosis.suggest import Player, band_of
from coaching.lessons.estimates import Estimate, constant_share, estimate_of, mean_of
from coaching.lessons.wording import amounts


class Ground(StrEnum):
    STANDS = "stands"
    CHANGED = "changed"
    LOST = "lost"


@dataclass(frozen=True)
class Grounds:
    """The newest figure behind a finding; `now` is None where it is not read any more."""

    state: Ground
    now: Estimate | None
    row: Measurement | None


def grounds_of(
    findings: Iterable[Finding], *, catalogue: Catalogue | None = None
) -> dict[int, Grounds]:
    """By finding, for those that rest on a figure of a clip. One query.

    `catalogue` is given where all of them are of one studio.
    """
    resting = [f for f in findings if f.measure and f.value is not None and f.video_id]
    if not resting:
        return {}
    rows: dict[tuple[int, str, str], list[Measurement]] = defaultdict(list)
    newest = Run.objects.newest_measured().filter(video__in=[f.video_id for f in resting])
    figures = Measurement.objects.filter(
        run__in=newest, measure__in={f.measure for f in resting}, value__isnull=False
    )
    for row in figures.select_related("run").order_by("repetition"):
        rows[row.run.video_id, row.measure, row.event].append(row)
    studios = {f.student.studio_id for f in resting} if catalogue is None else set()
    catalogues = {studio: catalogue_of(studio) for studio in studios}
    return {
        f.pk: _grounds(
            f,
            rows[f.video_id or 0, f.measure, f.event],
            catalogue or catalogues[f.student.studio_id],
        )
        for f in resting
    }


def _signs(finding: Finding, catalogue: Catalogue) -> list[Sign]:
    """The signs of its entry that read the figure it rests on."""
    entry = catalogue.get(finding.entry)
    here = (finding.measure, finding.event)
    return [sign for sign in entry.shows if sign.key == here] if entry else []


def _grounds(finding: Finding, rows: list[Measurement], catalogue: Catalogue) -> Grounds:
    """A suggestion rests on the mean of the repetitions, a coach's choice on the one chosen."""
    signs = _signs(finding, catalogue)
    if not signs and finding.measurement is not None:
        rows = [row for row in rows if row.repetition == finding.measurement.repetition]
    read = [e for row in rows if (e := estimate_of(row.value, row.uncertainty)) is not None]
    if not read:
        return Grounds(Ground.LOST, None, None)
    now = mean_of(read, share=constant_share(finding.measure)) if signs else read[0]
    return Grounds(_state(finding, now, signs), now, rows[0])


def _state(finding: Finding, now: Estimate, signs: list[Sign]) -> Ground:
    """Lost when the value is not past any limit that shows the finding, for any club."""
    players = [Player(finding.student.stature_cm, club) for club in CLUBS]
    bands = [band_of(sign, player) for sign in signs for player in players]
    if signs and not any(band.low <= now.value <= band.high for band in bands):
        return Ground.LOST
    then = amounts.value_words(finding.value or 0.0, finding.uncertainty, measure=finding.measure)
    same = then == amounts.value_words(now.value, now.sd, measure=finding.measure)
    return Ground.STANDS if same else Ground.CHANGED
