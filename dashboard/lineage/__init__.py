"""Where a figure comes from: question, named SQL, tables, loads, files; found by what runs, never from a list."""
