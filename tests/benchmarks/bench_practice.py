"""Whether a suggested verdict can be trusted, and how much the library holds.

suggest_pass_precision: of the attempts suggested as passed, the share that truly were.
suggest_pass_recall: of the attempts that truly passed, the share suggested so.
cannot_tell_share: attempts for which the camera cannot tell.
entries, starter_drills: how many there are. quick_verdict_taps: from the waiting list to a verdict.

The readings and their uncertainties are those of `analysis/weights/cv_errors.npz`: each was
made by a model that had never seen its body. What is random is the criterion: at least, at
most or between, its limit drawn from the middle 90 % of the true values of its measure, its
width from half to three times the fair width, k of n with n 1, 3 or 5.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
ERRORS = ROOT / "analysis" / "weights" / "cv_errors.npz"
DECISIONS = 4000
LEAST = 2000
SEED = 20261125
# Groups smaller than this say nothing about a limit drawn from them.
SMALLEST_GROUP = 30


def main() -> None:
    import django

    django.setup()
    if ERRORS.exists():
        score(ERRORS)
    else:
        print(f"{ERRORS.relative_to(ROOT)} is missing: train the corrector first (docs).")
    from coaching.diagnosis.catalogue import whole
    from coaching.practice import drills

    print(f"figure entries {len(whole().entries)} entries")
    print(f"figure starter_drills {len(drills.starter())} drills")
    print(f"figure quick_verdict_taps {quick_verdict_taps()} taps")


def score(path: Path) -> None:
    """Draw decisions and print how the suggestions did."""
    outcomes: Counter[tuple[str, bool]] = Counter()
    by_measure: dict[str, Counter[tuple[str, bool]]] = defaultdict(Counter)
    for measure, says, truly in decisions(read(path), count=DECISIONS):
        outcomes[says, truly] += 1
        by_measure[measure][says, truly] += 1
    total = sum(outcomes.values())
    if total < LEAST:
        raise RuntimeError(f"Only {total} decisions could be drawn from {path.name}.")
    for measure, counted in sorted(by_measure.items()):
        print(f"  {measure:28s} {line(counted)}")
    suggested = outcomes["passes", True] + outcomes["passes", False]
    passed = sum(n for (_says, truly), n in outcomes.items() if truly)
    unsure = outcomes["cannot_tell", True] + outcomes["cannot_tell", False]
    print(f"figure suggest_decisions {total} decisions")
    print(f"figure suggest_pass_precision {outcomes['passes', True] / suggested:.3f} share")
    print(f"figure suggest_pass_recall {outcomes['passes', True] / passed:.3f} share")
    print(f"figure cannot_tell_share {unsure / total:.3f} share")


def line(counted: Counter[tuple[str, bool]]) -> str:
    suggested = counted["passes", True] + counted["passes", False]
    passed = sum(n for (_says, truly), n in counted.items() if truly)
    right = counted["passes", True]
    return (
        f"{sum(counted.values()):5d} decisions, precision "
        f"{right / suggested if suggested else float('nan'):.2f}, recall "
        f"{right / passed if passed else float('nan'):.2f}"
    )


def read(path: Path) -> dict[tuple[str, str, str], dict[str, np.ndarray]]:
    """Rows by (measure, event, view); NaN rows are left out."""
    with np.load(path, allow_pickle=False) as held:
        rows = {name: held[name] for name in held.files}
    good = np.isfinite(rows["truth"]) & np.isfinite(rows["value"]) & np.isfinite(rows["u"])
    rows = {name: array[good] for name, array in rows.items()}
    keys = list(zip(rows["measure"], rows["event"], rows["view"], strict=True))
    groups: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for i, key in enumerate(keys):
        groups[tuple(str(part) for part in key)].append(i)  # type: ignore[index]
    return {
        key: {name: array[ids] for name, array in rows.items()}
        for key, ids in groups.items()
        if len(ids) >= SMALLEST_GROUP
    }


def decisions(groups: dict[tuple[str, str, str], dict[str, np.ndarray]], *, count: int) -> Any:
    """Yield (measure, what is suggested, whether it truly passed)."""
    from coaching.lessons.estimates import Estimate, constant_share
    from coaching.practice.criteria import suggest

    random = np.random.default_rng(SEED)
    keys = sorted(groups)
    for number in range(count):
        measure, event, _view = key = keys[number % len(keys)]
        rows = groups[key]
        asked = int(random.choice([1, 3, 5]))
        picked, of_one_body = repetitions(rows, asked, random)
        if len(picked) < asked:
            continue
        need = int(random.integers(1, asked + 1))
        target = criterion(measure, event, rows, picked, random)
        truth = rows["truth"][picked]
        truly = int(((truth >= target.band.low) & (truth <= target.band.high)).sum()) >= need
        film = [
            {(measure, event): Estimate(float(rows["value"][i]), float(rows["u"][i]))}
            for i in picked
        ]
        # Errors of different bodies have no constant part in common.
        share = constant_share(measure) if of_one_body else 0.0
        result = suggest([target], film, need=need, asked=asked, shares={measure: share})
        yield measure, str(result.says), truly


def repetitions(
    rows: dict[str, np.ndarray], asked: int, random: np.random.Generator
) -> tuple[np.ndarray, bool]:
    """`asked` rows that could be repetitions: of one body, else of similar true values."""
    first = int(random.integers(len(rows["truth"])))
    if asked == 1:
        return np.array([first]), True
    if "body" in rows:
        same = np.flatnonzero(rows["body"] == rows["body"][first])
        if len(same) >= asked:
            return random.choice(same, asked, replace=False), True
    near = np.argsort(np.abs(rows["truth"] - rows["truth"][first]), kind="stable")
    return near[:asked], False


def criterion(
    measure: str,
    event: str,
    rows: dict[str, np.ndarray],
    picked: np.ndarray,
    random: np.random.Generator,
) -> Any:
    from coaching.practice.criteria import at_least, at_most, between, fair_half_width

    limit = float(np.quantile(rows["truth"], random.uniform(0.05, 0.95)))
    kind = int(random.integers(3))
    if kind == 0:
        return at_least(measure, event, limit)
    if kind == 1:
        return at_most(measure, event, limit)
    half = fair_half_width(float(rows["u"][picked].mean())) * random.uniform(0.5, 3.0)
    return between(measure, event, limit - half, limit + half)


def quick_verdict_taps() -> int:
    """Taps from the waiting list to a given verdict, following what the pages offer."""
    import re

    from django.db import connection
    from django.test import Client
    from django.test.utils import setup_test_environment
    from django.urls import reverse

    from coaching.practice.models import Verdict
    from tests.coaching.practice.making import make_assignment, open_attempt, send_film

    setup_test_environment()
    connection.creation.create_test_db(verbosity=0, serialize=False)
    try:
        assignment = make_assignment()
        attempt = open_attempt(assignment)
        send_film(attempt, (52, 4), (50, 4), (55, 4))
        client = Client()
        client.force_login(assignment.student.coach)
        page = client.get(reverse("waiting")).content.decode()
        taps, link = 1, reverse("practice:judge", args=[attempt.pk])
        if f'href="{link}"' not in page:
            raise RuntimeError("The waiting list offers no way to the verdict.")
        page = client.get(link).content.decode()
        action = re.search(r'<form method="post" action="([^"]+/verdict)"', page)
        if action is None or 'name="decision" value="passed"' not in page:
            raise RuntimeError("The page offers no verdict.")
        taps += 1
        client.post(action.group(1), {"decision": "passed"})
        if not Verdict.objects.filter(attempt=attempt, decision="passed").exists():
            raise RuntimeError("The verdict was not given.")
        return taps
    finally:
        connection.creation.destroy_test_db(None, verbosity=0)


if __name__ == "__main__":
    main()
