"""Does the rig still measure the same: what is found of each studio's, and the tilt at arrival month by month."""

from collections.abc import Iterator
from datetime import date

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data.answers_rig import Rig, RigMonthRow
from dashboard.questions.selection.calendar import first_day, period_of
from dashboard.questions.selection.every_fit import Remember, at_once, fits_selected
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.scope import counted, names_of, scope_of
from dashboard.questions.selection.selection import Selection
from shared.rig.findings import RigFinding
from shared.rig.recorded import Rows, recorded
from shared.rig.watch import findings_of
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_mean
from shared.warehouse import Warehouse

METHOD = {
    "rig": "each studio's: the exports name no rig of their own",
    "step": "the day from which both knees together arrive elsewhere, feet, setups, visits, fitters and bicycles allowed for",
    "slope": "the same, month by month",
    "side": "right less left at arrival, what the feet and their setups differ by allowed for",
    "exchange": "whether supports under one foot move the other knee, and whether knees change places between captures",
    "noise": "how far two captures with the same setup lie apart, before and after a day",
    "tests": "one family of all studios; its q-value allows for looking anew with every load",
}
_KEPT = ("fit_no", "studio", "rider", "day", "tilt_left", "tilt_right")


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember = at_once) -> Rig:
    """What is found of the rigs over all fits, of the selected studios and dates; monthly means of the selected fits."""
    scope = scope_of(warehouse, selection, settings, remember)
    names = names_of(warehouse, remember)["studio"] or []
    findings, arrivals = remember(("rig",), lambda: _looked_at(warehouse, names, settings))
    chosen = _chosen(findings, selection)
    selected = np.isin(arrivals["fit_no"], fits_selected(warehouse, scope, remember))
    here = {name: column[selected] for name, column in arrivals.items()}
    return Rig(
        **scope.head(selection),
        method={**METHOD, "q_value": settings.rig.q_value},
        headline=_headline(chosen, len(arrivals["fit_no"]), settings),
        findings=chosen,
        months=tuple(_months(here, names, settings)),
    )


def _looked_at(warehouse: Warehouse, names: list[str], settings: Settings) -> tuple[tuple[RigFinding, ...], Rows]:
    """Keeps the findings and those columns of the arrivals that the months are made of; all else is let go."""
    rows = recorded(warehouse)
    return findings_of(rows, dict(enumerate(names)), settings), {name: rows.arrivals[name] for name in _KEPT}


def _chosen(findings: tuple[RigFinding, ...], selection: Selection) -> tuple[RigFinding, ...]:
    """Keeps the findings that concern fits of the selected studios and dates."""
    studios = selection.studio
    kept = (each for each in findings if not studios or each.studio in studios)
    return tuple(each for each in kept if each.overlaps(selection.date_from, selection.date_to))


def _headline(findings: tuple[RigFinding, ...], n_fits: int, settings: Settings) -> str:
    if findings:
        more = f" {counted(len(findings) - 1, 'more finding')} below." if len(findings) > 1 else ""
        return findings[0].words + more
    if n_fits < 2 * settings.rig.least_fits:
        return (
            f"Not enough yet to watch a rig: {counted(n_fits, 'fit')} with both knees, of {2 * settings.rig.least_fits} needed."
        )
    return "No rig is seen to have moved: no step, no drift, no side, no exchange of left and right, no change of noise."


def _months(arrivals: Rows, names: list[str], settings: Settings) -> Iterator[RigMonthRow]:
    """Each studio's mean tilt at arrival, month by month; a month with few fits has its counts alone."""
    values = {
        "both": (arrivals["tilt_left"] + arrivals["tilt_right"]) / 2,
        "right_less_left": arrivals["tilt_right"] - arrivals["tilt_left"],
    }
    month = period_of(arrivals["day"].astype("datetime64[D]"), "month")
    for studio in np.unique(arrivals["studio"]).tolist():
        for number in np.unique(month[arrivals["studio"] == studio]).tolist():
            here = (arrivals["studio"] == studio) & (month == number)
            for knees, tilt in values.items():
                day = first_day(number, "month")
                yield _month(names[studio], knees, day, tilt[here], arrivals["rider"][here], settings)


def _month(
    studio: str, knees: str, month: date, tilt: NDArray[np.float64], rider: NDArray[np.int64], settings: Settings
) -> RigMonthRow:
    n_riders = count_riders(rider)
    figures: tuple[float | None, float | None, float | None] = (None, None, None)
    if n_riders >= settings.minimum.riders_shown:
        mean = clustered_mean(tilt, rider, settings.intervals.level)
        figures = (mean.estimate, mean.low, mean.high)
    return RigMonthRow(studio, knees, month, "deg", len(tilt), n_riders, *figures)
