"""What became of a fit once its rider left: seen again or not, and whether it held."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
