"""Prints what is claimed in studios in which nothing acts, and in studios in which supports do: a part of `make recovery`.

By today's rule (told interval and q-value) and by the one before it: overall rows by the bracket, cells by the shrunken pooled
interval, their words by the bracket. One studio is asked for all splits, as a reader who goes through every view would.
"""

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from dashboard.questions.effects.answers_effects import FamilyRow
from dashboard.questions.effects.families import compared, shrunken
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.captures import Captures, captures_of_rows
from dashboard.questions.models.claims import claimed, prices_of_split
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.frames import frame_of
from dashboard.questions.selection.selection import FOREFOOT_CLASSES
from shared.settings import Settings
from tests.recovery.scenarios import LEVELS, TRUE_TILT_DEG, Scenario, forefoot_classes, simulated

STUDIOS = 20
OUTCOMES = ("tilt", "sway", "offset")
_OF_FEET = ("foot_type", "arch_height", "forefoot", "arch_collapse", "side")
# Words of a rider, drawn by chance with so many levels.
_OF_RIDERS = {
    "riding": 6, "bike_kind": 5, "sex": 3, "age_band": 4, "heel": 3, "squat": 3, "posture": 5, "hip": 4, "place": 2, "by": 3,
    "arrival": 3,
}  # fmt: skip
SPLITS = (*_OF_FEET, "visit_kind", *_OF_RIDERS)
# Spread, noise and effects of the outcomes beside the tilt, as the demo has them.
_BESIDE = {
    "sway": (2.5, 1.1, (-0.5, -0.9, -1.1, -1.4, -0.3, -0.05)),
    "offset": (5.0, 2.0, (0.8, 1.5, 2.2, 2.0, 1.0, -1.6)),
}
BLEND = Scenario("claims", by_exam=0.5, by_measured=0.3, by_true=0.2)
NULL = replace(BLEND, name="nothing acts", has_effect=False)


def with_factors(scenario: Scenario, spread: float, seed: int) -> Scenario:
    """The scenario with effects that differ between foot types by `spread`, as a share of them."""
    factors = 1 + spread * np.random.default_rng([7, seed]).normal(size=(12, 6))
    return replace(scenario, factors=tuple(map(tuple, factors)))


def studio(scenario: Scenario, seed: int) -> Captures:
    """One studio's captures with three outcomes and a column for every split."""
    rng = np.random.default_rng([seed, scenario.riders])
    rows = dict(simulated(scenario, rng))
    supports = np.column_stack(
        [*(rows["insole_level"] == level for level in LEVELS[1:]), rows["total_shims"], rows["stance_mm"]]
    ).astype(float)
    for name, (spread, noise, effects) in _BESIDE.items():
        own = rng.normal(0, spread, rows["rider"].max() + 1)[rows["rider"]] + rng.normal(0, noise, len(rows["rider"]))
        own += rng.normal(0, 0.3 * spread, rows["session_knee"].max() + 1)[rows["session_knee"]]
        rows[name] = own + scenario.has_effect * (supports @ np.array(effects))
    kind = np.array(FOREFOOT_CLASSES, dtype=object)[forefoot_classes(rows["forefoot_angle_deg"])]
    rows["forefoot"] = kind
    rows["foot_type"] = np.array([f"{arch} arch, {one}" for arch, one in zip(rows["arch_height"], kind, strict=True)], object)
    for name, n_levels in _OF_RIDERS.items():
        rows[name] = np.array([f"level {n}" for n in rng.integers(0, n_levels, rows["rider"].max() + 1)], object)[rows["rider"]]
    return captures_of_rows(rows)


def overall(captures: Captures, settings: Settings) -> list[EffectRow]:
    found = [one for outcome in OUTCOMES for one in fitted(frame_of(captures, outcome), None, settings)[0]]
    return claimed(found, settings)


def by_level(
    captures: Captures, split: str, told: list[EffectRow], settings: Settings
) -> tuple[list[EffectRow], list[FamilyRow]]:
    rows: list[EffectRow] = []
    families: list[FamilyRow] = []
    for outcome in OUTCOMES:
        found, compare = shrunken(fitted(frame_of(captures, outcome), split, settings)[0], settings)
        prices = prices_of_split(outcome, told, split)
        rows += claimed([one for one in found if one.row.level is not None], settings, prices.levels)
        families += compared(compare, prices.comparisons)
    return rows, families


def counted(scenario: Scenario, seed: int, splits: Iterable[str] = SPLITS) -> Counter[str]:
    """What one studio claims: by today's rule and, under `before`, by the one before it; cells that hold the truth, where it is
    known."""
    settings, captures, told = Settings(), studio(scenario, seed), Counter[str]()
    over_all = overall(captures, settings)
    for row in over_all:
        if row.told_low is not None:
            told += Counter(
                {"rows": 1, "claims": bool(row.direction), "claims before": _one_side(row.bracket_low, row.bracket_high)}
            )
    for split in splits:
        rows, families = by_level(captures, split, over_all, settings)
        for row in rows:
            if row.told_low is not None:
                told += Counter(dict(_of_cell(scenario, row)))
        told += Counter(families=len(families), differ=sum(row.differs for row in families))
    return told


def _of_cell(scenario: Scenario, row: EffectRow) -> Iterator[tuple[str, int]]:
    low, high = (row.pooled_low, row.pooled_high) if row.shrunk_low is None else (row.shrunk_low, row.shrunk_high)
    yield "cells", 1
    yield "bold", int(row.direction != 0)
    yield "bold before", int(_one_side(low, high))
    yield "words before", int(_one_side(row.bracket_low, row.bracket_high))
    true = _true(scenario, row)
    if true is not None:
        yield "known", 1
        yield "told holds", int((row.told_low or 0.0) <= true <= (row.told_high or 0.0))
        yield "shrunken holds", int((low or 0.0) <= true <= (high or 0.0))
        yield "wrong", int(row.direction * true < 0)
        yield "wrong before", int(_one_side(low, high) and (low or 0.0) * true < 0)


def _true(scenario: Scenario, row: EffectRow) -> float | None:
    """The true effect on the tilt in a cell of the foot types."""
    if row.outcome != "tilt" or row.split != "foot_type" or row.level is None:
        return None
    if not scenario.has_effect:
        return 0.0
    arch, _, forefoot = row.level.partition(" arch, ")
    place = 4 * ("low", "medium", "high").index(arch) + FOREFOOT_CLASSES.index(forefoot)
    support = list(TRUE_TILT_DEG).index(row.support)
    return TRUE_TILT_DEG[row.support] * (scenario.factors[place][support] if scenario.factors else 1.0)


def _one_side(low: float | None, high: float | None) -> bool:
    return low is not None and high is not None and (low > 0 or high < 0)


def main(studios: int = STUDIOS) -> None:
    """Prints one line a kind of studio as Markdown."""
    out = sys.stdout.write
    out(
        "| studios | overall claims a studio | studios with any | cells bold | cells that hold the truth | wrong side "
        "| split rows claimed a studio | levels differ a studio |\n|---|---|---|---|---|---|---|---|\n"
    )
    for name, riders, spread in (("nothing acts", 60, None), ("nothing acts", 400, None), ("as the demo", 150, 0.0),
                                 ("types differ by 0.4", 400, 0.4)):  # fmt: skip
        scenario = replace(NULL if spread is None else BLEND, riders=riders)
        each = [counted(with_factors(scenario, spread, seed) if spread else scenario, seed) for seed in range(studios)]
        all_of = sum(each, Counter[str]())
        out(f"| {name}, {riders} riders | {_line(all_of, each, studios)} |\n")
        sys.stdout.flush()


def _line(found: Counter[str], each: list[Counter[str]], studios: int) -> str:
    def share(part: str, whole: str) -> str:
        return f"{100 * found[part] / max(found[whole], 1):.1f} %"

    any_claim = [sum(one[name] > 0 for one in each) for name in ("claims", "claims before")]
    return " | ".join(
        (
            f"{found['claims'] / studios:.2f} (before {found['claims before'] / studios:.2f})",
            f"{any_claim[0]} (before {any_claim[1]})",
            f"{share('bold', 'cells')} (before {share('bold before', 'cells')})",
            f"{share('told holds', 'known')} (shrunken {share('shrunken holds', 'known')})",
            f"{found['wrong']} (before {found['wrong before']})",
            f"{found['bold'] / studios:.2f} (before {found['words before'] / studios:.2f})",
            f"{found['differ'] / studios:.2f} of {found['families'] // studios}",
        )
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else STUDIOS)
