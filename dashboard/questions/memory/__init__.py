"""What is made once for all who ask, what is stopped, and what is made as it is read."""
