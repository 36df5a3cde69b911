-- Makes the table of sessions, where it is not there yet.
-- Grain: one sign-in of one browser, or one that waits for its second step. Key: mark.
-- mark: SHA-256 of the identifier in the cookie. stamp: of the account when it signed in; another one ends the session.
-- agent: SHA-256 of what the browser calls itself. stage: whole, code (waits for a code) or setup (sets up the second step, with the
-- secret that was shown). has_second: whether a second step was taken. Times in seconds since 1970, UTC.
CREATE TABLE IF NOT EXISTS sessions (
    mark TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    stamp TEXT NOT NULL,
    agent TEXT NOT NULL,
    stage TEXT NOT NULL,
    has_second INTEGER NOT NULL,
    secret TEXT NOT NULL,
    began_at REAL NOT NULL,
    seen_at REAL NOT NULL
) WITHOUT ROWID
