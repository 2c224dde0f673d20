"""Whether the engine sees what a coach sees: acted faults and sound swings, read with errors.

fault_recall: acted faults suggested, clear or worth a look. fault_clear_precision: of the
clear suggestions of faults, the share whose true figures are past the limit.
sound_swing_suggestions: false suggestions a sound swing, both tiers. faults_covered: of the
faults a coach sees most, those with figures (or said to be seen by eye), causes, effects and
a drill. figures_without_use: figures that no entry reads, beside those folded away.

A swing is filmed from both views. Errors are those of `analysis/weights/cv_errors.npz`, each
made by a model that had never seen its body: a figure takes the error and the told spread of
one of the rows nearest to its true value. What is not learned takes the errors in `acted`.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.acted import FACE_ON, FAULTS, SOUND, UNLEARNED, WANTED, Key

ROOT = Path(__file__).resolve().parents[2]
ERRORS = ROOT / "analysis" / "weights" / "cv_errors.npz"
SWINGS = 150  # of each fault
SOUND_SWINGS = 2000
NEAREST = 40
SEED = 20261128

Rows = dict[str, np.ndarray]
Figures = dict[Key, tuple[float, float]]


def main() -> None:
    import django

    django.setup()
    for name, value, unit in figures():
        print(f"figure {name} {value} {unit}")


def figures(swings: int = SWINGS, sound: int = SOUND_SWINGS, detail: bool = True) -> Any:
    """(name, value, unit) of every figure; `detail` prints the rows behind them."""
    reader = Reader()
    recall, right, clear = acted_faults(reader, swings, detail)
    false, more_right, more_clear = sound_swings(reader, sound, detail)
    right, clear = right + more_right, clear + more_clear
    yield "fault_recall", f"{recall:.3f}", "share"
    yield "fault_clear_precision", f"{right / clear:.3f}", "share"
    yield "sound_swing_suggestions", f"{false:.3f}", "suggestions"
    yield "faults_covered", len(covered()), "faults"
    yield "figures_without_use", len(without_use()), "figures"


class Reader:
    """Reads true figures as the program would: with errors of bodies never seen."""

    def __init__(self) -> None:
        self.random = np.random.default_rng(SEED)
        with np.load(ERRORS, allow_pickle=False) as held:
            rows = {name: held[name] for name in held.files}
        good = np.isfinite(rows["truth"]) & np.isfinite(rows["value"]) & np.isfinite(rows["u"])
        keys = zip(rows["measure"], rows["event"], rows["view"], strict=True)
        groups: dict[tuple[str, str, str], list[int]] = defaultdict(list)
        for i, (measure, event, view) in enumerate(keys):
            if good[i]:
                groups[str(measure), str(event), str(view)].append(i)
        self.groups = {}
        for key, ids in groups.items():
            by_truth = np.array(ids)[np.argsort(rows["truth"][ids], kind="stable")]
            self.groups[key] = {name: rows[name][by_truth] for name in ("truth", "value", "u")}

    def read(self, truth: dict[Key, float]) -> Figures:
        """The figures of a swing filmed from both views; the surer view of each."""
        told = {key: self.one(key, value) for key, value in truth.items()}
        return {key: reading for key, reading in told.items() if reading is not None}

    def one(self, key: Key, value: float) -> tuple[float, float] | None:
        views = ("face_on",) if key[0] in FACE_ON else ("down_the_line", "face_on")
        learned = [self.groups[*key, view] for view in views if (*key, view) in self.groups]
        if learned:
            return min((self._learned(rows, value) for rows in learned), key=lambda r: r[1])
        spread, seen = UNLEARNED[key]
        if self.random.random() > seen:
            return None
        return value + spread * self.random.standard_normal(), spread

    def _learned(self, rows: Rows, value: float) -> tuple[float, float]:
        place = int(np.searchsorted(rows["truth"], value))
        first = min(max(place - NEAREST // 2, 0), len(rows["truth"]) - NEAREST)
        row = first + int(self.random.integers(NEAREST))
        return value + float(rows["value"][row] - rows["truth"][row]), float(rows["u"][row])


def swing(reader: Reader, moved: dict[Key, Any], stature_cm: float) -> dict[Key, float]:
    """True figures of one swing: sound but for what the fault moves."""
    truth = {}
    for key, (mean, sd) in {**SOUND, **moved}.items():
        off = np.clip(reader.random.standard_normal(), -2, 2)
        truth[key] = (mean + sd * off) * (stature_cm / 100 if key[0].endswith("_cm") else 1)
    return truth


def _suggest(reader: Reader, moved: dict[Key, Any]) -> tuple[list[Any], dict[Key, float], Any]:
    from coaching.diagnosis.catalogue import whole
    from coaching.diagnosis.suggest import Player, suggest

    player = Player(stature_cm=float(reader.random.uniform(158, 192)), club="iron")
    assert player.stature_cm is not None
    truth = swing(reader, moved, player.stature_cm)
    return suggest(reader.read(truth), catalogue=whole(), player=player), truth, player


def is_fault(entry: Any) -> bool:
    return entry.kind in ("cause", "compensation", "question")


def is_true(entry: Any, truth: dict[Key, float], player: Any) -> bool:
    """Whether the true figures are past a limit of the entry."""
    from coaching.diagnosis.suggest import best_sign

    exact = {key: (value, 0.0) for key, value in truth.items()}
    return best_sign(entry, exact, player) is not None


def acted_faults(reader: Reader, swings: int, detail: bool) -> tuple[float, int, int]:
    """Share of acted faults suggested, and of the clear suggestions right and all."""
    shares, right, clear = [], 0, 0
    wrong: Counter[str] = Counter()
    for fault, (entries, moved) in FAULTS.items():
        found, found_clear = 0, 0
        for _ in range(swings):
            suggestions, truth, player = _suggest(reader, moved)
            tiers = {s.entry.id: s.tier for s in suggestions}
            found += any(entry in tiers for entry in entries)
            found_clear += any(tiers.get(entry) == "clear" for entry in entries)
            sure = [s for s in suggestions if s.tier == "clear" and is_fault(s.entry)]
            untrue = [s.entry.id for s in sure if not is_true(s.entry, truth, player)]
            wrong.update(untrue)
            right, clear = right + len(sure) - len(untrue), clear + len(sure)
        shares.append(found / swings)
        if detail:
            print(f"  {fault:34s} found {found / swings:.2f}, clear {found_clear / swings:.2f}")
    if detail:
        for entry, count in wrong.most_common(8):
            print(f"  clear and not so on acted swings: {entry} {count / len(FAULTS) / swings:.4f}")
    return float(np.mean(shares)), right, clear


def sound_swings(reader: Reader, swings: int, detail: bool) -> tuple[float, int, int]:
    """False suggestions of faults a sound swing, and of the clear ones right and all."""
    false: Counter[tuple[str, str]] = Counter()
    right, clear = 0, 0
    for _ in range(swings):
        suggestions, truth, player = _suggest(reader, {})
        for s in suggestions:
            true = is_true(s.entry, truth, player)
            if is_fault(s.entry):
                right, clear = right + (true and s.tier == "clear"), clear + (s.tier == "clear")
            if not true:
                false[s.entry.id, str(s.tier)] += 1
    if detail:
        for (entry, tier), count in false.most_common(12):
            print(f"  false on sound swings: {entry} ({tier}) {count / swings:.3f}")
    return sum(false.values()) / swings, right, clear


def covered() -> list[str]:
    """The wanted faults whose entries have figures or an eye, causes, effects and a drill."""
    from coaching.diagnosis.catalogue import whole
    from coaching.practice import drills

    slugs = {row["slug"] for row in drills.starter()}
    catalogue = whole()

    def whole_entry(id: str) -> bool:
        entry = catalogue.get(id)
        return bool(
            entry
            and (entry.shows or entry.by_eye)
            and entry.causes
            and (catalogue.effects_of(id) or entry.stage == "finish")  # nothing follows it
            and set(entry.drills) & slugs
        )

    return [fault for fault, entries in WANTED.items() if all(map(whole_entry, entries))]


def without_use() -> set[Key]:
    """Figures that no entry reads, beside those folded away and those of drills."""
    from analysis.core.measures import MEASURES
    from coaching.diagnosis.catalogue import ELSEWHERE, FOLDED, TOO_ROUGH, whole

    signs = [sign for entry in whole().entries for sign in entry.shows]
    used = {one.key for sign in signs for one in (sign, *sign.both)}
    return {(m.id, m.event) for m in MEASURES} - used - FOLDED - TOO_ROUGH - ELSEWHERE


if __name__ == "__main__":
    main()
