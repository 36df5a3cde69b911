"""Who may read a dashboard that is served on a network: accounts, signing in, and how often a password may be tried."""
