"""The selection: its words, its SQL and its fits, and what every answer carries."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
