"""Do riders leave more comfortable than they came, and does it last: comfort, stability, foot room, pain."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.coded import code_sql
from dashboard.questions.selection.every_fit import Remember, at_once, cut
from dashboard.questions.selection.levels import Levels, count_riders, level_words, levels_of_feet, split_caution
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.selection.scope import Scope, counted, fragments, scope_of
from dashboard.questions.selection.selection import SPLITS, Selection
from dashboard.questions.studio import SQL
from dashboard.questions.studio.answers_ratings import RatingRow, Ratings
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.statistics.multiplicity import in_family
from shared.statistics.ordinal import PairedRatings, paired_ratings
from shared.statistics.told import direction
from shared.warehouse import Warehouse

# Fits, riders, topics and parts as numbers, and the scores at each moment, one row a rated part of a fit.
Pairs = Mapping[str, NDArray[Any]]
Flags = NDArray[np.bool_]
# A topic and the moments between which it is compared.
Compared = tuple[str, tuple[str, str]]

TOPICS = catalogue()["rider_ratings"].column("topic").codes
COMPARISONS = (("arrival", "departure"), ("arrival", "follow_up"), ("departure", "follow_up"))
_BEST = {"pain": 0.0}

METHOD = {
    "pairs": "the same part of the body rated at both moments; the follow-up is rated at its first capture",
    "p_value": "signed-rank test with Pratt's zeros, the ranks summed by rider: only the order of the scores is used",
    "shares": "better, same, worse; Wilson on the effective number, by rider",
    "mean_change_points": "mean of the changes with a t interval clustered by rider, beside the median",
    "q_value": "Benjamini-Hochberg over all riders' topics and parts of the body; over the levels of a split times the "
    "number of splits; a change is clear where its interval leaves out zero and q is small",
}
CAUTIONS = (
    "Riders rate knowing that something was changed, and in front of the one who changed it: part of a gain is that.",
    "The follow-up holds only riders who came back and rated again.",
    "Pain, numbness or swelling that stays is a reason to stop and to see a licensed clinician.",
)


def ask(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None = None) -> Ratings:
    """Paired changes of every topic from arrival to departure, to the follow-up, and between the two."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    parts = (remember or at_once)(("ratings_parts",), lambda: _parts(warehouse))
    pairs = cut(warehouse, scope, "ratings_pairs", lambda asked: _pairs(warehouse, asked, parts), remember)
    topics = {topic: _where(pairs, pairs["topic"] == number) for number, topic in enumerate(TOPICS, start=1)}
    both = {(topic, moments): _both(topics[topic], moments) for topic in TOPICS for moments in COMPARISONS}
    of_topics = [_rating_row(rows, *compared, settings) for compared, rows in both.items()]
    # Topics and parts of the body are told together of all riders.
    together = _judged([*of_topics, *_by_part(both, topics, parts, settings)])
    overall, by_part = together[: len(of_topics)], together[len(of_topics) :]
    split: Iterable[RatingRow] = ()
    if selection.split and selection.split != "side":  # a rating knows nothing of sides
        levels = levels_of_feet(warehouse, scope, selection.split, remember)
        split = _by_level(both, levels, selection.split, settings)
    return Ratings(
        **scope.head(selection),
        method=METHOD,
        **scope.counts,
        headline=f"In {scope.words}: {overall[0].words[0].lower()}{overall[0].words[1:]}",
        cautions=(*CAUTIONS, *split_caution(selection.split)),
        ratings=_if_recorded((*overall, *_judged(split, len(SPLITS))), scope.recorded),
        body_parts=_if_recorded(by_part, scope.recorded),
    )


def _if_recorded(rows: Iterable[RatingRow], recorded: Recorded) -> tuple[RatingRow, ...]:
    """The same; where no follow-up is recorded, what would be told of one says so."""
    absent = recorded.instead("return_rate")
    return tuple(
        replace(row, words=f"{row.words.partition(':')[0]}: {absent}.") if absent and row.to_moment == "follow_up" else row
        for row in rows
    )


def _parts(warehouse: Warehouse) -> list[str]:
    return [row["part"] for row in warehouse.rows(SQL / "ratings_parts.sql")]


def _pairs(warehouse: Warehouse, scope: Scope, parts: list[str]) -> Pairs:
    coded = {**fragments(), "topic_code": code_sql("ratings.topic", "topic")}
    return warehouse.arrays(SQL / "ratings_pairs.sql", {**scope.parameters, "parts": parts}, **coded)


def _where(pairs: Pairs, chosen: Flags) -> Pairs:
    places = np.flatnonzero(chosen)
    return {name: column[places] for name, column in pairs.items()}


def _both(pairs: Pairs, moments: tuple[str, str]) -> Pairs:
    """The pairs that were rated at both moments, the scores as `before` and `after`; and, of fits whose window has
    closed, those that were not rated again, NaN after."""
    before, after = (pairs[moment].astype(float) for moment in moments)
    is_missed = pairs["is_followable"].astype(bool) & (moments[1] == "follow_up")
    rated = np.flatnonzero(np.isfinite(before) & (np.isfinite(after) | is_missed))
    columns = {name: pairs[name][rated] for name in ("fit_no", "rider", "part")}
    return {**columns, "before": before[rated], "after": after[rated]}


def _by_level(both: Mapping[Compared, Pairs], levels: Levels, split: str, settings: Settings) -> Iterator[RatingRow]:
    """The rows of each level of the split; a fit belongs to a level where one of its feet does."""
    for compared, pairs in both.items():
        feet = levels.number[np.searchsorted(levels.fit_no, pairs["fit_no"])]
        left, right = np.ascontiguousarray(feet.T)
        for number, level in enumerate(levels.names):
            chosen = _where(pairs, (left == number) | (right == number))
            row = _rating_row(chosen, *compared, settings, level_words(split, level))
            yield replace(row, split=split, level=level)


def _by_part(
    both: Mapping[Compared, Pairs], topics: Mapping[str, Pairs], names: list[str], settings: Settings
) -> Iterator[RatingRow]:
    """The rows, part by part, of the topics that were rated for more than one part of the body."""
    for topic, rated in topics.items():
        parts = np.flatnonzero(np.bincount(rated["part"])).tolist()
        for part in parts if len(parts) > 1 else ():
            name = names[part]
            for moments in COMPARISONS:
                pairs = both[topic, moments]
                row = _rating_row(_where(pairs, pairs["part"] == part), topic, moments, settings, name.replace("_", " "))
                yield replace(row, body_part=name)


def _rating_row(pairs: Pairs, topic: str, moments: tuple[str, str], settings: Settings, of: str = "") -> RatingRow:
    """One topic between two moments; `of` names the level or the part in the sentence."""
    all_before, again = pairs["before"], np.isfinite(pairs["after"])
    before, after, rider = (pairs[name][again] for name in ("before", "after", "rider"))
    n, n_riders = len(before), count_riders(rider)
    at_best = int((before == _BEST.get(topic, 10.0)).sum())
    row = RatingRow(topic, None, *moments, None, None, n, n_riders, at_best, *((None,) * 17), "", len(again) - n)
    name = (
        f"{topic.replace('_', ' ')}{f', {of},' if of else ''} from {moments[0]} to {moments[1].replace('_', '-')}".capitalize()
    )
    if n_riders < settings.minimum.riders_shown:
        return replace(row, words=f"{name}: not enough yet, {counted(n, 'pair')} of {counted(n_riders, 'rider')}.")
    change = paired_ratings(after - before, rider, settings.intervals.level, more_is_better=topic != "pain")
    return replace(
        row,
        median_from=float(np.median(before)),
        median_to=float(np.median(after)),
        median_change_points=change.median,
        mean_change_points=change.mean.estimate,
        mean_low_points=change.mean.low,
        mean_high_points=change.mean.high,
        share_better=change.better.estimate,
        better_low=change.better.low,
        better_high=change.better.high,
        share_same=change.same.estimate,
        same_low=change.same.low,
        same_high=change.same.high,
        share_worse=change.worse.estimate,
        worse_low=change.worse.low,
        worse_high=change.worse.high,
        p_value=change.p_value,
        words=f"{name}: {_words(change, n, n_riders)}{_not_again(all_before, after, moments[0], len(again) - n)}",
    )


def _not_again(before: NDArray[np.float64], after: NDArray[np.float64], moment: str, n: int) -> str:
    """How many were not rated again, and between what the mean change of all lies, whatever they would have said."""
    if n == 0:
        return ""
    low, high = ((after.sum() + end * n - before.sum()) / len(before) for end in (0, 10))
    return (
        f" {n:,} more {'was' if n == 1 else 'were'} rated at {moment} and not again: over all the mean change lies between "
        f"{spoken(low, 1)} and {spoken(high, 1)}, whatever they would have said."
    )


def _words(change: PairedRatings, n: int, n_riders: int) -> str:
    plus = "+" if round(change.mean.estimate, 1) > 0 else ""
    return (
        f"better in {spoken_percent(change.better.estimate)} ("
        f"{spoken_percents(change.better.low, change.better.high)}), the same in {spoken_percent(change.same.estimate)}, "
        f"worse in {spoken_percent(change.worse.estimate)}; {plus}{spoken(change.mean.estimate, 1)} points of 10 on average "
        f"({spoken(change.mean.low, 1)} to {spoken(change.mean.high, 1)}; "
        f"{counted(n, 'pair')} of {counted(n_riders, 'rider')})."
    )


def _judged(rows: Iterable[RatingRow], n_families: int = 1) -> tuple[RatingRow, ...]:
    """The rows of one family, or of one of several like it, with their q-values; what is not sure is said to be unclear."""
    held = list(rows)
    q_values = in_family([row.p_value for row in held], n_families)
    return tuple(_clear_or_not(replace(row, q_value=q_value)) for row, q_value in zip(held, q_values, strict=True))


def _clear_or_not(row: RatingRow) -> RatingRow:
    if row.mean_change_points is None or direction(row.mean_low_points, row.mean_high_points, row.q_value):
        return row
    return replace(row, words=f"{row.words.removesuffix('.')}: no clear change.")
