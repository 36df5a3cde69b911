"""Side differences, knee patterns and kinds of feet."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
