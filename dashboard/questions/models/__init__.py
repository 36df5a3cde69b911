"""What both effect models see: the captures of a snapshot, cells of them, designs, fits and verdicts."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
