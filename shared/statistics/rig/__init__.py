"""Whether a capture rig still measures what it measured before: steps, slopes, sides, exchange and noise."""
