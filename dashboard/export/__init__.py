"""What the warehouse holds and what the questions answer, as open files for other tools."""
