"""The page of the next rider: what tended to follow for feet like these."""
