"""Keeping the warehouse: migrating it, copies and their return, forgetting a rider, watching a folder, looking after it."""
