"""From how many points on does a change of comfort or pain matter to riders?"""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.followed import SQL
from dashboard.questions.followed.answers_important import ImportantChange, ImportantChangeRow
from dashboard.questions.followed.worth import STEPS
from dashboard.questions.selection.every_fit import Remember, at_once, read_or_cut
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted, scope_of
from dashboard.questions.selection.selection import Selection
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.important_change import Needed, minimal_important_change
from shared.warehouse import Warehouse

TOPICS: Final = ("comfort", "pain")
_MOVES: Final = {"comfort": "rise", "pain": "fall"}

METHOD = {
    "change": "from the fit's arrival to the follow-up's first capture; of pain where something hurt at arrival",
    "asked": "how much better than before the fit, seven steps",
    "points": "predictive minimal important change: the change as likely among riders who said so as among the others "
    "(logistic regression), adjusted for their share",
    "interval": "delta method by rider, and to the side to which the share pulls as far as with answers of reliability 0.7",
    "smallest_real_points": "the setting [agreement] smallest_rating_points",
}
CAUTIONS = (
    "It is an average of riders who came back, and no promise to one; what matters to a rider, that rider says.",
    "Whoever is asked how much better it is remembers the start by how it feels now: the answer leans toward the present.",
    "It says nothing of health: pain, numbness or swelling that stays is a reason to see a licensed clinician.",
)


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None = None) -> ImportantChange:
    """The minimal important change of comfort and of pain, from what riders say at the follow-up."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    fits = read_or_cut(warehouse, scope, SQL / "important_change_fits.sql", remember)
    said = fits["change_rating"].astype(float)
    rows = tuple(_row(topic, fits[topic].astype(float), said, fits["rider"], settings) for topic in TOPICS)
    return ImportantChange(
        **scope.head(selection),
        method={**METHOD, "better_from": rows[0].better_from},
        **scope.counts,
        headline=f"In {scope.words}: {rows[0].words[:1].lower()}{rows[0].words[1:]}",
        cautions=CAUTIONS,
        changes=rows,
    )


def _row(
    topic: str, change: NDArray[np.float64], said: NDArray[np.float64], rider: NDArray[np.int64], settings: Settings
) -> ImportantChangeRow:
    asked = np.isfinite(change) & np.isfinite(said)
    change, is_better, rider = change[asked], said[asked] >= settings.important_change.better_from_step, rider[asked]
    row = ImportantChangeRow(
        topic,
        STEPS[settings.important_change.better_from_step],
        len(change),
        count_riders(rider),
        int(is_better.sum()),
        settings.agreement.smallest_rating_points,
    )
    rule = settings.important_change
    try:
        found = minimal_important_change(
            change, is_better, rider, settings.intervals.level, Needed(rule.riders, rule.riders_each, rule.least_correlation)
        )
    except StatisticsError as refused:
        return replace(row, words=f"{_name(row)}: {str(refused)[:1].lower()}{str(refused)[1:]}")
    row = replace(
        row,
        points=found.points,
        low_points=found.low,
        high_points=found.high,
        unadjusted_points=found.unadjusted_points,
        correlation=found.correlation,
    )
    return replace(row, words=_words(row))


def _name(row: ImportantChangeRow) -> str:
    return f"{row.topic.capitalize()}, from which {_MOVES[row.topic]} on riders call it {row.better_from}"


def _words(row: ImportantChangeRow) -> str:
    ends = f"{spoken(row.low_points or 0, 1)} to {spoken(row.high_points or 0, 1)}"
    start = (
        f"A {_MOVES[row.topic]} of {row.topic} of {spoken(row.points or 0, 1)} points of 10 ({ends}) is where riders begin to"
    )
    answers = f"{row.n_better:,} of {counted(row.n, 'answer')} of {counted(row.n_riders, 'rider')}"
    return f"{start} call it {row.better_from} ({answers}); a change is clear from {row.smallest_real_points:g} on."
