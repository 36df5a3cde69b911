"""The one door: who asks, what they may see, and the answer that everybody shares."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
