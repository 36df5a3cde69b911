"""What moved the knee."""
