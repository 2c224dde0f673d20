"""What the diagnosis shows beside the clip, each thing read once."""

from __future__ import annotations

from typing import Any

from coaching.diagnosis import queries, suggestions
from coaching.diagnosis.models import Finding
from coaching.review.models import Review


def findings_context(review: Review, trouble: str = "") -> dict[str, Any]:
    """Everything `diagnosis/_findings.html` shows."""
    standing = queries.diagnosis_of(review.student, review)
    found = None if review.published_at else suggestions.offered(review, standing)
    figures = found.figures if found else suggestions.figures_of(review.clips)
    return {
        "student": review.student,
        "review": review,
        "diagnosis": standing,
        "offered": found,
        "usual": _usual(standing, found),
        "ball": queries.ball_words(review),
        "miss": [] if review.published_at else queries.usual_miss_left(review, standing),
        "figures": [row for _key, (_reading, row) in sorted(figures.items())],
        "kinds": Finding.Kind.choices,
        "kinds_of_chain": queries.kinds_of_chain(),
        "body_notes": standing.body_notes,
        "sentences": queries.sentences(standing),
        "trouble": trouble,
        "typed": {},  # by finding: words that were refused
        "typed_note": "",
    }


def _usual(
    standing: queries.Diagnosis, found: suggestions.Offered | None
) -> dict[int, list[suggestions.Usual]]:
    """By finding: the usual causes that are not said yet."""
    if found is None:
        return {}
    said = {finding.entry for finding in standing.findings}
    return {
        line.finding.pk: suggestions.usual_causes(found, line.finding, standing=said)
        for line in standing.all_lines
        if line.finding.entry
    }
