"""Questions that look ahead: what tended to follow for feet like these, and how well past fits would have been foreseen."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
