"""Do fits agree with the exam, which ones are to look at together, and does agreement go with better outcomes?"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching import SQL
from dashboard.questions.coaching.agreement_flags import FLAG, NOT_ASKED, NOTE, Judged, judged_fits, rule_weights
from dashboard.questions.coaching.agreement_rules import FOOT_RULES, SADDLE, SADDLE_TOLD
from dashboard.questions.coaching.agreement_severity import distance_words, outcomes_of, rule_words
from dashboard.questions.coaching.answers_agreement import (
    AgreementRow,
    AgreementWithExam,
    LookRow,
    OutcomeRow,
    RuleRow,
    WorstRow,
)
from dashboard.questions.coaching.shim_places import shim_places
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.selection.calendar import first_day, period_of
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import count_riders, level_masks, level_words, split_caution
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import counted, names_of, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import StatisticsError
from shared.rig.care import Watched, concerning, unclaimed
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.statistics.group_difference import adjusted_difference
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]

METHOD = {
    "in_agreement": "no rule flags either foot or the saddle; notes do not count",
    "to_look_at": "flagged, many insole levels and shims from the exam (both feet together), and neither tilt nor comfort nor "
    "pain better by the smallest real change, where there was room for it",
    "judged": "fits with arch and forefoot examined on both feet and a setup at departure",
    "intervals": "Wilson on the effective number, by rider",
    "shim_places": "changes between two captures in a row with nothing but added shims changed, clustered by rider",
    "difference": "outcome of fits in agreement less flagged ones, least squares held for the value at arrival, CR2 by rider",
    "q_value": "Benjamini-Hochberg within a table, times the two tables; clear where the interval leaves out zero and q is low",
}
CAUTIONS = (
    "A flag asks for a second look with the fitter; it is no verdict. The rules are common practice, no published source.",
    "The change after a shim holds part of the noise that led to it, at either place; `effects` estimates what supports did.",
    "That agreement goes with an outcome is no proof that it caused it: fits were not flagged by lot.",
)
# Outcomes, and the places of shims.
_TESTED_TABLES = 2
# The outcome, its unit, its value at arrival, and how it is told.
_OUTCOMES = (
    ("nearer_neutral", "deg", "nearer_neutral_deg", "off_neutral_arrival_deg", "came nearer to neutral by", "°"),
    ("less_sway", "mm", "less_sway_mm", "sway_arrival_mm", "lost sway by", "mm"),
    ("comfort_gained", "points", "comfort_gained_points", "comfort_arrival", "gained comfort by", "points"),
)


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember | None = None,
    rig: Watched | None = None,
) -> AgreementWithExam:
    """The share of fits in agreement, over time and by fitter, the rules behind it, and the fits to look at together.

    rig: what is found of the rigs; where left and right are exchanged, rules look at the other knee, and the headline says so.
    """
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    judged = judged_fits(warehouse, scope, settings, remember)
    everyone = _agreement_row(judged, np.ones(scope.n_fits, dtype=bool), None, None, settings)
    masks = level_masks(warehouse, scope, selection.split, remember)
    n_judged = int(judged.is_judged.sum())
    names = names_of(warehouse, remember)["fitter"]
    findings = concerning(rig, selection.studio, selection.date_from, selection.date_to)
    worst = tuple(_worst(warehouse, judged, names, settings))
    shim_steps = read_or_cut(warehouse, scope, SQL / "agreement_shims.sql", remember)
    return AgreementWithExam(
        **scope.head(selection),
        method={**METHOD, **{f"rule_{rule.name}": rule.told for rule in FOOT_RULES}, f"rule_{SADDLE}": SADDLE_TOLD},
        **scope.counts,
        n_judged=n_judged,
        n_flagged=n_judged - int(judged.agrees.sum()),
        n_far=int(judged.is_far.sum()),
        n_to_look_at=int(judged.to_look_at.sum()),
        headline=unclaimed(findings, "agreement with the exam")
        or f"In {scope.words}: {_look_words(judged, settings)}{everyone.words[:1].upper()}{everyone.words[1:]}",
        cautions=(*CAUTIONS, *split_caution(selection.split)),
        agreement=(
            everyone,
            *(_agreement_row(judged, mask, selection.split, level, settings) for level, mask in masks.items()),
        ),
        months=tuple(_months(judged, settings)),
        fitters=tuple(_fitters(judged, names, settings)),
        rules=tuple(_rules(judged, settings)),
        outcomes=tuple(
            _clear_or_not(side_by_side(lambda outcome: _outcome(judged, *outcome, settings), _OUTCOMES, scope.n_fits))
        ),
        shim_places=tuple(shim_places(shim_steps, settings, _TESTED_TABLES)),
        worst=tuple(row for _, row in worst),
        look_at=tuple(_look_at(judged, worst)),
    )


def _months(judged: Judged, settings: Settings) -> Iterator[AgreementRow]:
    month = period_of(judged.fits["session_date"], "month")
    for own in np.unique(month):
        yield _agreement_row(judged, month == own, "month", first_day(int(own), "month").isoformat(), settings)


def _fitters(judged: Judged, names: list[str], settings: Settings) -> Iterator[AgreementRow]:
    for number in np.unique(judged.fits["fitter"]):
        yield _agreement_row(judged, judged.fits["fitter"] == number, "fitter", names[number], settings)


def _agreement_row(judged: Judged, inside: Flags, by: str | None, level: str | None, settings: Settings) -> AgreementRow:
    chosen = inside & judged.is_judged
    agrees, rider = judged.agrees[chosen], judged.fits["rider"][chosen]
    n, n_judged, n_agrees = int(inside.sum()), len(agrees), int(agrees.sum())
    row = AgreementRow(by, level, n, n_judged, n_agrees, None, None, None, "", count_riders(rider))
    prefix = f"{_level_name(by, level)}: " if level else ""
    least = settings.minimum.sessions_per_fitter if by == "fitter" else settings.minimum.rows_shown
    if n_judged < least or row.n_riders < 2:
        words = f"{prefix}not enough yet, {counted(n_judged, 'fit')} that can be judged of {counted(n, 'fit')}."
        return replace(row, words=words)
    share = clustered_share(agrees.astype(float), rider, settings.intervals.level)
    words = (
        f"{prefix}{spoken_percent(share.estimate)} of fits agree with the exam ("
        f"{spoken_percents(share.low, share.high)}; {counted(n_judged, 'fit')} that can be judged)."
    )
    return replace(row, share=share.estimate, low=share.low, high=share.high, words=words)


def _level_name(by: str | None, level: str | None) -> str:
    if by == "month" and level:
        return date.fromisoformat(level).strftime("%B %Y")
    return f"Fitter {level}" if by == "fitter" else level_words(by, level).capitalize()


def _rules(judged: Judged, settings: Settings) -> Iterator[RuleRow]:
    rule_words = {**{rule.name: rule.told for rule in FOOT_RULES}, SADDLE: SADDLE_TOLD}
    riders = judged.fits["rider"]
    feet_rider = np.repeat(riders[judged.is_judged], 2)
    for name, weights in rule_weights(judged).items():
        asked = weights != NOT_ASKED
        rider = (riders[judged.is_judged] if name == SADDLE else feet_rider)[asked]
        flags = weights[asked] == FLAG
        n_notes, n_riders = int((weights == NOTE).sum()), count_riders(rider)
        row = RuleRow(name, rule_words[name], len(flags), n_notes, int(flags.sum()), None, None, None, n_riders)
        if n_riders >= settings.minimum.riders_shown:
            share = clustered_share(flags.astype(float), rider, settings.intervals.level)
            row = replace(row, share_flagged=share.estimate, low=share.low, high=share.high)
        yield row


def _outcome(
    judged: Judged, outcome: str, unit: str, column: str, start: str, verb: str, sign: str, settings: Settings
) -> OutcomeRow:
    """One outcome in agreement against flagged; told only with the minimum of fits on either side."""
    values, at_arrival = judged.fits[column].astype(float), judged.fits[start].astype(float)
    chosen = judged.is_judged & np.isfinite(values) & np.isfinite(at_arrival)
    values, agrees = values[chosen], judged.agrees[chosen]
    n, n_agrees = len(values), int(agrees.sum())
    n_riders = count_riders(judged.fits["rider"][chosen])
    row = OutcomeRow(outcome, unit, n, n_agrees, n - n_agrees, *((None,) * 6), "", n_riders)
    if min(n_agrees, n - n_agrees) < settings.minimum.rows_shown:
        words = f"Not enough yet: {counted(n_agrees, 'fit')} in agreement and {n - n_agrees:,} flagged with this outcome."
        return replace(row, words=words)
    mean, mean_flagged = float(values[agrees].mean()), float(values[~agrees].mean())
    row = replace(row, mean_in_agreement=mean, mean_flagged=mean_flagged, crude_difference=mean - mean_flagged)
    try:
        gap = adjusted_difference(
            values, agrees, at_arrival[chosen, None], judged.fits["rider"][chosen], settings.intervals.level
        )
    except StatisticsError as error:
        return replace(row, words=str(error))
    words = (
        f"Fits in agreement {verb} {spoken(abs(gap.estimate), 2, sign)} {'less' if gap.estimate < 0 else 'more'} than "
        f"flagged ones that began alike ({spoken(gap.low, 2)} to {spoken(gap.high, 2, sign)}; {counted(n, 'fit')})"
    )
    return replace(row, difference=gap.estimate, low=gap.low, high=gap.high, words=words, p_value=gap.p_value)


def _clear_or_not(rows: Sequence[OutcomeRow]) -> Iterator[OutcomeRow]:
    """The rows of one family with their q-values, and what each may claim."""
    q_values = in_family([row.p_value for row in rows], _TESTED_TABLES)
    for row, q_value in zip(rows, q_values, strict=True):
        if row.difference is None:
            yield row
            continue
        is_clear = direction(row.low, row.high, q_value)
        ending = ". It goes along and is no proof." if is_clear else ": no clear difference."
        yield replace(row, q_value=q_value, words=f"{row.words}{ending}")


def _look_words(judged: Judged, settings: Settings) -> str:
    """How many fits are to look at, of those that can be judged; nothing where none can."""
    n_judged, n_look = int(judged.is_judged.sum()), int(judged.to_look_at.sum())
    if not n_judged:
        return ""
    return (
        f"{n_look:,} of {counted(n_judged, 'fit')} that can be judged {'is' if n_look == 1 else 'are'} to look at together: "
        f"{rule_words(settings)}. "
    )


def _worst(warehouse: Warehouse, judged: Judged, names: list[str], settings: Settings) -> Iterator[tuple[int, WorstRow]]:
    """The places of the fits to look at with their rows: the furthest from the exam first, and of these the newest; and after
    them the flagged fits of fitters below the minimum, of whom no figure tells."""
    severity, fitter, to_look_at = judged.severity, judged.fits["fitter"], judged.to_look_at
    has_few = (np.bincount(fitter) < settings.minimum.sessions_per_fitter)[fitter]
    listed = np.flatnonzero(to_look_at | (has_few & judged.is_judged & ~judged.agrees))[::-1]
    order = np.lexsort((-severity["n_steps"][listed].astype(int), ~to_look_at[listed]))
    places = listed[order][: settings.agreement.listed_fits]
    outcomes = outcomes_of(warehouse, judged.fits["fit_no"][places])
    for fit in places.tolist():
        session, outcome = outcomes[int(judged.fits["fit_no"][fit])]
        day = date.fromisoformat(str(judged.fits["session_date"][fit])[:10])
        steps, levels, shims, others = (int(severity[name][fit]) for name in ("n_steps", "n_levels", "n_shims", "n_others"))
        is_poor = bool(severity["is_poor"][fit])
        poor_words = ", and nothing came out better" if is_poor else ""
        words = f"{distance_words(levels, shims, others)} from the exam{poor_words}: {outcome}."
        is_listed_first, name = bool(to_look_at[fit]), names[fitter[fit]]
        yield fit, WorstRow(session, day, name, steps, levels, shims, others, is_poor, is_listed_first, words)


def _look_at(judged: Judged, worst: Sequence[tuple[int, WorstRow]]) -> Iterator[LookRow]:
    """The findings of the fits to look at, each flag and note in a sentence that names the rule, the exam and the setup."""
    told: Mapping[str, str] = {**{rule.name: rule.told for rule in FOOT_RULES}, SADDLE: SADDLE_TOLD}
    for fit, row in worst:
        for side, finding in judged.findings(fit):
            place = f"{row.session_id}, {side} foot" if side else row.session_id
            words = f"{place}: {told[finding.rule]}; {finding.words}"
            yield LookRow(row.session_id, row.session_date, row.fitter_id, side, finding.rule, finding.weight, words)
