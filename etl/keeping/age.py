"""What the doctor says of old data: how old the newest row is, by the studio's own limit."""

from datetime import date
from pathlib import Path
from typing import Literal

from shared.clock import own_today
from shared.errors import FitledgerError
from shared.freshness import NEWEST_BY_STUDIO, NEWEST_ROW, freshness
from shared.settings import Settings, load_settings
from shared.warehouse import Warehouse


def age_told(opened: Warehouse, settings: Path | None, today: date) -> tuple[Literal["fine", "note", "do"], str, str]:
    """State, words and what to do, as the doctor tells a check."""
    try:
        known = load_settings(settings)
    except FitledgerError:
        # Told by the check of the settings.
        known = Settings()
    today = own_today(opened) or today
    age = freshness(opened.value(NEWEST_ROW), today, known)
    if age.words:
        return "do", age.words, age.todo
    if age.age_days is None:
        return "fine", "no row yet.", ""
    limit = known.data.stale_after_days
    words = f"of {age.newest_row}, {age.age_days} days old; after {limit} days every page says so"
    ages = {row["studio_id"]: (today - row["newest_row"]).days for row in opened.rows(NEWEST_BY_STUDIO)}
    if old := [f"{studio} ({days:,} days)" for studio, days in ages.items() if studio and days > limit]:
        return "note", f"{words}. Older, by the last fit: {', '.join(old)}.", "Ask there whether exports still come."
    return "fine", f"{words}.", ""
