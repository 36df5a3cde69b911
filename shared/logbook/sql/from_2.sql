-- Makes version 3: which letters went to whom, so that none goes twice, and who wants none.
-- letter_readers. Grain: one address in one role. Key: reader_no, which the link to stop the letter carries signed. stopped_at: empty
-- while the letter is wanted.
CREATE TABLE letter_readers (
    reader_no INTEGER PRIMARY KEY,
    role TEXT NOT NULL,
    address TEXT NOT NULL,
    stopped_at TEXT NOT NULL DEFAULT '',
    UNIQUE (role, address)
) STRICT;
-- letters. Grain: one letter to one reader on one occasion. Key: reader_no with occasion ("schedule 2026-08-01", "signal ...", "asked ...").
-- state: sending, sent, same (nothing new in it), later (tried again at next_at), given up, unknown (it may have gone). content: SHA-256 of
-- its words. told: what went wrong.
CREATE TABLE letters (
    reader_no INTEGER NOT NULL REFERENCES letter_readers (reader_no),
    occasion TEXT NOT NULL,
    state TEXT NOT NULL,
    n_tries INTEGER NOT NULL,
    tried_at TEXT NOT NULL,
    next_at TEXT NOT NULL DEFAULT '',
    content TEXT NOT NULL DEFAULT '',
    told TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (reader_no, occasion)
) STRICT;
-- letter_signals. Grain: one move of a figure that a reader was told of. Key: all of it. period_from: its first day, ISO.
CREATE TABLE letter_signals (
    reader_no INTEGER NOT NULL REFERENCES letter_readers (reader_no),
    figure TEXT NOT NULL,
    direction TEXT NOT NULL,
    period_from TEXT NOT NULL,
    PRIMARY KEY (reader_no, figure, direction, period_from)
) STRICT;
-- letter_secret. Grain: one row. secret: hexadecimal; signs the links to stop a letter.
CREATE TABLE letter_secret (
    secret TEXT NOT NULL
) STRICT;
