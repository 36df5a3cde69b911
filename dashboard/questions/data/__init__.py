"""Can we trust it: what the warehouse holds, and how much a knee differs from itself."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
