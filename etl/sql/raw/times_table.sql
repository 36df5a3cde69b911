-- Makes: times_{table}, empty. Grain: one row a row of a file whose captures are numbered by the order of a time.
-- told_at: the time as a number, NULL where it cannot be read; side: empty where both sides share a number.
CREATE OR REPLACE TEMP TABLE times_{table} (
    scope VARCHAR,
    session_id VARCHAR,
    side VARCHAR,
    told_at DOUBLE
);
