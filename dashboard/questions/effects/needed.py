"""Why a row of effects has no figure, and how many more changes it needs before it has one."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.scope import counted
from shared.settings import Settings


@dataclass(frozen=True)
class Needed:
    """How many changes more a figure needs at least, and in how many riders in whom there was none yet."""

    changes: int
    riders: int

    @property
    def words(self) -> str:
        """As it stands in the place of the figure: 4 more changes needed, in other riders."""
        more = f"{counted(self.changes, 'more change')} needed"
        if not self.riders:
            return more
        if self.riders == self.changes:
            return f"{more}, in {'another rider' if self.riders == 1 else 'other riders'}"
        return f"{more}, {self.riders:,} of them in other riders"


def needed(row: EffectRow, settings: Settings) -> Needed | None:
    """What a row without figures lacks; None where it has figures, or where more changes alone would not give it any."""
    if not any(reason in row.words for reason in ("not enough yet", "never changed")):
        return None
    minimum = settings.minimum
    riders = max(0, minimum.riders_per_effect - row.n_riders)
    # Each rider in whom there was none yet brings a change of their own.
    changes = max(minimum.changes_per_type - row.n_changes, riders)
    return Needed(changes, riders) if changes > 0 else None


def why_empty(row: EffectRow, settings: Settings) -> str:
    """What stands in the place of a figure that a row does not have; its own words tell the reason whole."""
    lacking = needed(row, settings)
    if lacking:
        return lacking.words
    if row.pooled is not None:
        return "not claimed"
    if "changed together" in row.words:
        return "always changed together with others"
    return "rests on one rider" if "one rider alone" in row.words else "no figure"


def nearest(rows: Sequence[EffectRow], settings: Settings, n: int) -> list[tuple[EffectRow, Needed]]:
    """The rows without figures that lack the fewest changes, `n` at most; never-changed ones are left aside."""
    lacking = [(row, one) for row in rows if row.n_changes and (one := needed(row, settings))]
    return sorted(lacking, key=lambda found: (found[1].changes, found[1].riders))[:n]
