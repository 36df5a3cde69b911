"""The letter that comes by itself: one page by its reader's role, as mail, sent when it is due or a figure has moved."""
