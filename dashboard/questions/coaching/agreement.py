"""Do fits agree with the exam, which ones deserve a second look, and does agreement go with better outcomes?"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching import SQL
from dashboard.questions.coaching.agreement_flags import FLAG, NOT_ASKED, NOTE, Judged, judged_fits, rule_weights
from dashboard.questions.coaching.agreement_rules import FOOT_RULES, SADDLE, SADDLE_TOLD
from dashboard.questions.coaching.answers_agreement import AgreementRow, AgreementWithExam, LookRow, OutcomeRow, RuleRow
from dashboard.questions.coaching.shim_places import shim_places
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.selection.calendar import first_day, period_of
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import count_riders, level_masks, level_words, split_caution
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import counted, names_of, scope_of, sessions_of
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
    """The share of fits in agreement, over time and by fitter, the rules behind it, and the newest fits to look at together.

    rig: what is found of the rigs; where left and right are exchanged, rules look at the other knee, and the headline says so.
    """
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    judged = judged_fits(warehouse, scope, settings, remember)
    everyone = _row(judged, np.ones(scope.n_fits, dtype=bool), None, None, settings)
    masks = level_masks(warehouse, scope, selection.split, remember)
    n_judged = int(judged.is_judged.sum())
    names = names_of(warehouse, remember)["fitter"]
    findings = concerning(rig, selection.studio, selection.date_from, selection.date_to)
    steps = read_or_cut(warehouse, scope, SQL / "agreement_shims.sql", remember)
    return AgreementWithExam(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, **{f"rule_{rule.name}": rule.told for rule in FOOT_RULES}, f"rule_{SADDLE}": SADDLE_TOLD},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        n_judged=n_judged,
        n_flagged=n_judged - int(judged.agrees.sum()),
        headline=unclaimed(findings, "agreement with the exam") or f"In {scope.words}: {everyone.words}",
        cautions=(*CAUTIONS, *split_caution(selection.split)),
        agreement=(everyone, *(_row(judged, mask, selection.split, level, settings) for level, mask in masks.items())),
        months=tuple(_months(judged, settings)),
        fitters=tuple(_fitters(judged, names, settings)),
        rules=tuple(_rules(judged, settings)),
        outcomes=tuple(
            _clear_or_not(side_by_side(lambda outcome: _outcome(judged, *outcome, settings), _OUTCOMES, scope.n_fits))
        ),
        shim_places=tuple(shim_places(steps, settings, _TESTED_TABLES)),
        look_at=tuple(_look_at(warehouse, judged, names, settings)),
    )


def _months(judged: Judged, settings: Settings) -> Iterator[AgreementRow]:
    month = period_of(judged.fits["session_date"], "month")
    for own in np.unique(month):
        yield _row(judged, month == own, "month", first_day(int(own), "month").isoformat(), settings)


def _fitters(judged: Judged, names: list[str], settings: Settings) -> Iterator[AgreementRow]:
    for number in np.unique(judged.fits["fitter"]):
        yield _row(judged, judged.fits["fitter"] == number, "fitter", names[number], settings)


def _row(judged: Judged, inside: Flags, by: str | None, level: str | None, settings: Settings) -> AgreementRow:
    chosen = inside & judged.is_judged
    agrees, rider = judged.agrees[chosen], judged.fits["rider"][chosen]
    n, n_judged, n_agrees = int(inside.sum()), len(agrees), int(agrees.sum())
    row = AgreementRow(by, level, n, n_judged, n_agrees, None, None, None, "", count_riders(rider))
    prefix = f"{_level_told(by, level)}: " if level else ""
    least = settings.minimum.sessions_per_fitter if by == "fitter" else settings.minimum.rows_shown
    if n_judged < least or row.n_riders < 2:
        words = f"{prefix}not enough yet, {counted(n_judged, 'fit')} that can be judged of {counted(n, 'fit')}."
        return replace(row, words=words)
    found = clustered_share(agrees.astype(float), rider, settings.intervals.level)
    words = (
        f"{prefix}{spoken_percent(found.estimate)} of fits agree with the exam ("
        f"{spoken_percents(found.low, found.high)}; {counted(n_judged, 'fit')} that can be judged)."
    )
    return replace(row, share=found.estimate, low=found.low, high=found.high, words=words)


def _level_told(by: str | None, level: str | None) -> str:
    if by == "month" and level:
        return date.fromisoformat(level).strftime("%B %Y")
    return f"Fitter {level}" if by == "fitter" else level_words(by, level).capitalize()


def _rules(judged: Judged, settings: Settings) -> Iterator[RuleRow]:
    told = {**{rule.name: rule.told for rule in FOOT_RULES}, SADDLE: SADDLE_TOLD}
    riders = judged.fits["rider"]
    feet_rider = np.repeat(riders[judged.is_judged], 2)
    for name, weights in rule_weights(judged).items():
        asked = weights != NOT_ASKED
        rider = (riders[judged.is_judged] if name == SADDLE else feet_rider)[asked]
        flags = weights[asked] == FLAG
        n_notes, n_riders = int((weights == NOTE).sum()), count_riders(rider)
        row = RuleRow(name, told[name], len(flags), n_notes, int(flags.sum()), None, None, None, n_riders)
        if n_riders >= settings.minimum.riders_shown:
            found = clustered_share(flags.astype(float), rider, settings.intervals.level)
            row = replace(row, share_flagged=found.estimate, low=found.low, high=found.high)
        yield row


def _outcome(
    judged: Judged, outcome: str, unit: str, column: str, start: str, told: str, sign: str, settings: Settings
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
        found = adjusted_difference(
            values, agrees, at_arrival[chosen, None], judged.fits["rider"][chosen], settings.intervals.level
        )
    except StatisticsError as error:
        return replace(row, words=str(error))
    words = (
        f"Fits in agreement {told} {spoken(abs(found.estimate), 2, sign)} {'less' if found.estimate < 0 else 'more'} than "
        f"flagged ones that began alike ({spoken(found.low, 2)} to {spoken(found.high, 2, sign)}; {counted(n, 'fit')})"
    )
    return replace(row, difference=found.estimate, low=found.low, high=found.high, words=words, p_value=found.p_value)


def _clear_or_not(rows: Sequence[OutcomeRow]) -> Iterator[OutcomeRow]:
    """The rows of one family with their q-values, and what each may claim."""
    q_values = in_family([row.p_value for row in rows], _TESTED_TABLES)
    for row, q_value in zip(rows, q_values, strict=True):
        if row.difference is None:
            yield row
            continue
        is_clear = direction(row.low, row.high, q_value)
        told = ". It goes along and is no proof." if is_clear else ": no clear difference."
        yield replace(row, q_value=q_value, words=f"{row.words}{told}")


def _look_at(warehouse: Warehouse, judged: Judged, names: list[str], settings: Settings) -> Iterator[LookRow]:
    """The newest flagged fits, each flag and note in a sentence that names the rule, the exam and the setup."""
    told: Mapping[str, str] = {**{rule.name: rule.told for rule in FOOT_RULES}, SADDLE: SADDLE_TOLD}
    flagged = np.flatnonzero(judged.is_judged & ~judged.agrees)[::-1][: settings.agreement.listed_fits]
    session_of = sessions_of(warehouse, judged.fits["fit_no"][flagged])
    for fit in flagged:
        session, fitter = session_of[int(judged.fits["fit_no"][fit])], names[judged.fits["fitter"][fit]]
        day = date.fromisoformat(str(judged.fits["session_date"][fit])[:10])
        for side, finding in judged.findings(int(fit)):
            place = f"{session}, {side} foot" if side else session
            words = f"{place}: {told[finding.rule]}; {finding.words}"
            yield LookRow(session, day, fitter, side, finding.rule, finding.weight, words)
