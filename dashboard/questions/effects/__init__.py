"""What moved the knee."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
