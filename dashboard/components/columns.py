"""The columns that most tables are made of: a count, a share, a figure in its row's own unit, the two ends of an interval."""

from dashboard.components.table import Column
from dashboard.figures.theme import interval, number


def count(heading: str, key: str) -> Column:
    """How many there are."""
    return Column(heading, lambda row: number(getattr(row, key), "count"), (key,), numeric=True)


def share(heading: str, key: str) -> Column:
    """A share in percent; a row without one has not enough for it yet."""

    def text(row: object) -> str:
        value = getattr(row, key)
        return "not enough yet" if value is None else number(value, "share")

    return Column(heading, text, (key,), numeric=True)


def figure(heading: str, key: str) -> Column:
    """A figure in the unit of its row."""
    return Column(heading, lambda row: number(getattr(row, key), row.unit), (key,), numeric=True)


def ends(heading: str, low: str = "low", high: str = "high", unit: str | None = None) -> Column:
    """Both ends of an interval, in the unit of its row unless another is given."""
    return Column(
        heading, lambda row: interval(getattr(row, low), getattr(row, high), unit or row.unit), (low, high), numeric=True
    )
