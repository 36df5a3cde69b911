"""How the studio does: headline figures, trends, periods and what riders say."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
