"""What happened to a rider."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
