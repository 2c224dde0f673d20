"""What came back for a step against what was asked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.models import Measurement
from coaching.intake.models import Submission
from coaching.lessons.estimates import (
    Estimate,
    Standing,
    band_of,
    constant_share,
    estimate_of,
    mean_of,
)
from coaching.lessons.repeated import Repeated, over_repetitions
from coaching.lessons.wording import amounts
from coaching.practice.criteria import Suggested, Suggestion, Target, suggest
from coaching.practice.models import Attempt, Criterion, SelfAnswer, Step
from coaching.practice.queries.filmed import Film, films, rebase
from coaching.practice.queries.ladders import verdict_of


@dataclass(frozen=True)
class Asked:
    """One figure of one repetition against the criterion it was filmed for.

    It reads like a measurement, so that a span draws it.
    """

    criterion: Criterion
    repetition: int  # from 1, as people count
    value: float | None
    uncertainty: float | None
    reason: str
    frame: int | None

    @property
    def measure(self) -> str:
        return self.criterion.measure

    @property
    def event(self) -> str:
        return self.criterion.event

    @property
    def target(self) -> Target | None:
        """None where a change is asked from a baseline that this pipeline version lacks."""
        return target_of(self.criterion)

    @property
    def estimate(self) -> Estimate | None:
        return estimate_of(self.value, self.uncertainty)

    @property
    def chance(self) -> float | None:
        """Chance that the true value meets the criterion."""
        if self.estimate is None or self.target is None:
            return None
        return self.target.band.chance(self.estimate)

    @property
    def standing(self) -> Standing:
        """Counts, close, does not count, or not seen."""
        return self.target.band.standing(self.estimate) if self.target else Standing.NOT_SEEN


@dataclass(frozen=True)
class Judged:
    """A clip that came back for a step: every figure, and what they suggest."""

    submission: Submission
    attempt: Attempt
    asked: tuple[Asked, ...]
    answers: tuple[tuple[Criterion, bool | None], ...]
    suggestion: Suggestion

    @property
    def by_repetition(self) -> list[tuple[int, list[Asked]]]:
        rows: dict[int, list[Asked]] = defaultdict(list)
        for figure in self.asked:
            rows[figure.repetition].append(figure)
        return sorted(rows.items())


def target_of(criterion: Criterion) -> Target | None:
    """The band a criterion asks for; None for a self-test, and while its numbers are missing."""
    c = criterion
    if c.comparison in Criterion.BY_EYE:
        return None
    band = band_of(
        c.comparison,
        low=c.low,
        high=c.high,
        change=c.change,
        baseline=c.baseline,
        baseline_sd=c.baseline_uncertainty,
    )
    return None if band is None else Target(c.measure, c.event, band)


def attempts_of(submissions: Iterable[Submission]) -> dict[int, list[Attempt]]:
    """The attempts each clip was filmed for, those without a verdict first.

    One film may answer several drills; clips of a request of its own have none.
    """
    angles = {s.angle_id for s in submissions if s.angle_id}
    # Most clips were filmed for no drill; five tables are joined for those that were.
    tried = list(Attempt.objects.filter(angle__in=angles).values_list("pk", flat=True))
    if not tried:
        return {}
    attempts = (
        Attempt.objects.filter(pk__in=tried)
        .select_related("step__assignment__drill_version", "verdict", "angle")
        .prefetch_related("step__criteria")
    )
    found: dict[int, list[Attempt]] = defaultdict(list)
    for attempt in sorted(attempts, key=lambda a: (verdict_of(a) is not None, a.pk)):
        found[attempt.angle_id].append(attempt)
    return {s.pk: found[s.angle_id] for s in submissions if s.angle_id in found}


def judged(submissions: Sequence[Submission]) -> dict[int, Judged]:
    """Every clip that was filmed for a step, against the criteria of the one judged next."""
    return {pk: results[0] for pk, results in judged_all(submissions).items()}


def judged_for(attempt: Attempt, clip: Submission) -> Judged:
    """A clip against the criteria of one of the steps it was filmed for."""
    return next(j for j in judged_all([clip])[clip.pk] if j.attempt.pk == attempt.pk)


def judged_all(submissions: Sequence[Submission]) -> dict[int, list[Judged]]:
    """Every clip against the criteria of each step it was filmed for."""
    submissions = list(submissions)
    attempts = attempts_of(submissions)
    if not attempts:
        return {}
    measured = films([s for s in submissions if s.pk in attempts])
    answers: dict[tuple[int, int], bool] = {
        (answer.submission_id, answer.criterion_id): answer.yes
        for answer in SelfAnswer.objects.filter(submission__in=list(attempts))
    }
    return {
        s.pk: [_judge(s, a, measured.get(s.pk), answers) for a in attempts[s.pk]]
        for s in submissions
        if s.pk in attempts
    }


def _judge(
    submission: Submission,
    attempt: Attempt,
    film: Film | None,
    answers: dict[tuple[int, int], bool],
) -> Judged:
    step = attempt.step
    criteria = list(step.criteria.all())
    if film is not None:
        rebase(criteria, version=film.version)
    self_tests = [c for c in criteria if c.comparison == Criterion.Comparison.SELF_TEST]
    measured = [c for c in criteria if c.comparison not in Criterion.BY_EYE]
    given = tuple((c, answers.get((submission.pk, c.pk))) for c in self_tests)
    repetitions = film.repetitions if film else ()
    asked = tuple(
        _asked(criterion, number, row.get((criterion.measure, criterion.event)))
        for number, row in enumerate(repetitions[: step.repetitions], start=1)
        for criterion in measured
    )
    suggestion = _suggest(
        step, repetitions, [target_of(c) for c in measured], [answer for _, answer in given]
    )
    return Judged(submission, attempt, asked, given, suggestion)


def _suggest(
    step: Step,
    repetitions: Sequence[dict[tuple[str, str], Measurement]],
    targets: Sequence[Target | None],
    answers: Sequence[bool | None],
) -> Suggestion:
    if None in targets:  # a change that cannot be told: as if its figure was not seen
        unseen = (Standing.NOT_SEEN,) * step.repetitions
        return Suggestion(Suggested.CANNOT_TELL, 0.0, unseen, step.need, step.repetitions, "unseen")
    return suggest(
        [target for target in targets if target is not None],
        [
            {key: estimate_of(row.value, row.uncertainty) for key, row in figures.items()}
            for figures in repetitions
        ],
        need=step.need,
        asked=step.repetitions,
        answers=answers,
    )


def _asked(criterion: Criterion, repetition: int, row: Measurement | None) -> Asked:
    if target_of(criterion) is None:
        return Asked(criterion, repetition, None, None, "other_version", None)
    if row is None:
        return Asked(criterion, repetition, None, None, "not_measured", None)
    return Asked(criterion, repetition, row.value, row.uncertainty, row.reason, row.frame)


def measured_against_asked(submissions: Sequence[Submission]) -> dict[int, list[Asked]]:
    """One row per criterion and repetition, by submission."""
    found = judged_all(submissions)
    return {pk: [asked for r in results for asked in r.asked] for pk, results in found.items()}


def spread_of(result: Judged) -> Repeated | None:
    """How far the first figure asked for differs over the clip's repetitions."""
    first = next((a.criterion for a in result.asked), None)
    read = [a.estimate for a in result.asked if a.criterion == first and a.estimate is not None]
    return over_repetitions(read, share=constant_share(first.measure)) if first else None


def first_in_words(result: Judged, *, imperial: bool) -> dict[str, str]:
    """The first figure asked for, to fill a sentence: its mean over the clip, and what was asked.

    Either is empty where there is none.
    """
    asked = next(iter(result.asked), None)
    if asked is None:
        return {}
    c = asked.criterion
    read = [a.estimate for a in result.asked if a.criterion == c and a.estimate is not None]
    mean = mean_of(read, share=constant_share(c.measure)) if read else None
    figure: dict[str, Any] = {"measure": c.measure, "imperial": imperial}
    if c.aim is not None:
        target = amounts.value_words(c.aim, **figure)
    else:
        target = amounts.band_words(c.comparison, low=c.low, high=c.high, change=c.change, **figure)
    return {
        "measure": amounts.value_words(mean.value, mean.sd, **figure) if mean else "",
        "target": target,
    }
