"""Do riders come back, and does the fit hold."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
