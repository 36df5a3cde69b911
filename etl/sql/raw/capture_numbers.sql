-- Makes: numbers_{table}, the number of each capture by the order of its time. Grain and key: scope, session_id, side, told_at.
-- capture_no: NULL where a time of the visit cannot be read, since every number after it would be another one; and in a file to mend
-- where other captures of the visit are stored, between which it may stand.
-- Inputs: times_{table}, raw.{table}.
CREATE OR REPLACE TEMP TABLE numbers_{table} AS
SELECT
    times.scope,
    times.session_id,
    times.side,
    times.told_at,
    CASE
        WHEN times.scope <> '' AND stored.session_id IS NOT NULL THEN NULL
        WHEN bool_and(times.told_at IS NOT NULL) OVER (PARTITION BY times.scope, times.session_id, times.side)
            THEN dense_rank() OVER (PARTITION BY times.scope, times.session_id, times.side ORDER BY times.told_at)
    END AS capture_no
FROM (SELECT DISTINCT scope, session_id, side, told_at FROM times_{table}) AS times
LEFT JOIN (SELECT DISTINCT session_id FROM raw."{table}" WHERE superseded_by IS NULL) AS stored
    ON stored.session_id = times.session_id;
