"""How many fits made a rider's comfort or pain better by a change that is clear, and worth it."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from dashboard.questions.followed import SQL
from dashboard.questions.followed.worth import VERDICTS, Limits
from dashboard.questions.returns.answers_returns import WorthRow
from dashboard.questions.selection.every_fit import Remember, read_or_cut
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken_percent, spoken_percents
from dashboard.questions.selection.scope import Scope, counted
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.warehouse import Warehouse


def worth_rows(
    warehouse: Warehouse, scope: Scope, limits: Mapping[str, Limits], settings: Settings, remember: Remember | None = None
) -> Iterator[WorthRow]:
    """One row a topic and verdict over the selected fits that were rated again. limits: by topic, from all fits."""
    if not limits:
        return
    fits = read_or_cut(warehouse, scope, SQL / "important_change_fits.sql", remember)
    for topic, limit in limits.items():
        known = np.isfinite(fits[topic].astype(float))
        places, rider = limit.verdict_of(fits[topic].astype(float)[known]), fits["rider"][known]
        for place, verdict in enumerate(VERDICTS):
            has = places == place
            row = WorthRow(topic, verdict, len(places), int(has.sum()), count_riders(rider[has]))
            if len(places) < settings.minimum.rows_shown or count_riders(rider) < settings.minimum.riders_shown:
                few = f"{topic.capitalize()}: not enough yet, {counted(len(places), 'fit')} rated again."
                yield replace(row, words=few)
                continue
            share = clustered_share(has.astype(float), rider, settings.intervals.level)
            words = (
                f"{topic.capitalize()} from arrival to the follow-up: {verdict} in {row.n:,} of "
                f"{counted(row.n_fits, 'fit')} rated again, {spoken_percent(share.estimate)} "
                f"({spoken_percents(share.low, share.high)})."
            )
            yield replace(row, share=share.estimate, low=share.low, high=share.high, words=words)
