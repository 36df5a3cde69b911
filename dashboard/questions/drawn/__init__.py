"""Drawn orders: which of two steps that the exam leaves equally right comes first is drawn, and what that says."""

from pathlib import Path

SQL = Path(__file__).with_name("sql")
