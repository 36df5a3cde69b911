-- Makes version 2: what the studio says itself of what it sees: calls, tasks, notes and goals, each with its history.
-- entries. Grain: one call, task, note or goal. Key: entry_id. sort: call, task, note, goal. kind and key: what it is about: a figure by its
-- name, a period, a fitter, a rider's follow-up by its session_id, a load by its number, a rig by its finding. address: the page with its
-- selection where it was made, empty by command. opened_at: UTC.
CREATE TABLE entries (
    entry_id TEXT PRIMARY KEY,
    sort TEXT NOT NULL,
    kind TEXT NOT NULL,
    key TEXT NOT NULL,
    address TEXT NOT NULL,
    opened_at TEXT NOT NULL,
    opened_by TEXT NOT NULL
) STRICT;
CREATE INDEX entries_about ON entries (sort, kind, key);
-- events. Grain: one thing said of an entry; only ever added. Key: entry_id with event_no, from 1. at: UTC. state: of the entry from then on.
-- day: the day that it tells of (until when, booked for, valid from, dated), empty for none; value: a goal's, else nothing.
CREATE TABLE events (
    entry_id TEXT NOT NULL REFERENCES entries (entry_id),
    event_no INTEGER NOT NULL,
    at TEXT NOT NULL,
    by TEXT NOT NULL,
    state TEXT NOT NULL,
    day TEXT NOT NULL,
    value REAL,
    text TEXT NOT NULL,
    who TEXT NOT NULL,
    PRIMARY KEY (entry_id, event_no)
) STRICT;
