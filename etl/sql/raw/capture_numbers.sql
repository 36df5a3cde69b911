-- Makes: numbers_{table}, the number of each capture by the order of its time. Grain and key: scope, session_id, side, told_at.
-- capture_no: NULL where a time of the visit cannot be read, since every number after it would be another one.
-- Inputs: times_{table}.
CREATE OR REPLACE TEMP TABLE numbers_{table} AS
SELECT
    scope,
    session_id,
    side,
    told_at,
    CASE
        WHEN bool_and(told_at IS NOT NULL) OVER (PARTITION BY scope, session_id, side)
            THEN dense_rank() OVER (PARTITION BY scope, session_id, side ORDER BY told_at)
    END AS capture_no
FROM (SELECT DISTINCT scope, session_id, side, told_at FROM times_{table});
