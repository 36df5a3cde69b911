-- Makes: numbers_{table}, the number of each capture by the order of its time, over this load and those before it. Grain and key:
-- scope, session_id, side, told_at.
-- capture_no: a time that was loaded before keeps its number, and later ones follow. NULL where it cannot be told, with the reason as
-- fault: 'order' where a time of the visit cannot be read, since every number after it would be another one; 'earlier' where it
-- would take the number of a capture that is stored: it stands before that, or the times of those stored are not known and this
-- load brings fewer.
-- Inputs: times_{table}, raw.numbered_times, raw.{table}.
CREATE OR REPLACE TEMP TABLE numbers_{table} AS
WITH times AS (
    SELECT DISTINCT scope, session_id, side, told_at
    FROM times_{table}
),

visits AS (
    SELECT scope, session_id, side, count(*) AS n_times, bool_and(told_at IS NOT NULL) AS is_readable
    FROM times
    GROUP BY scope, session_id, side
),

stored AS (
    SELECT session_id, max(capture_no) AS last_no
    FROM raw."{table}"
    WHERE superseded_by IS NULL
    GROUP BY session_id
),

known AS (
    SELECT visits.scope, given.session_id, given.side, given.told_at, min(given.capture_no) AS capture_no
    FROM raw.numbered_times AS given
    INNER JOIN visits ON visits.session_id = given.session_id AND visits.side = given.side
    WHERE given."table" = '{table}'
    GROUP BY visits.scope, given.session_id, given.side, given.told_at
),

placed AS (
    SELECT
        scope, session_id, side, told_at,
        max(known_no) AS known_no,
        dense_rank() OVER (PARTITION BY scope, session_id, side ORDER BY told_at) AS place
    FROM (
        SELECT scope, session_id, side, told_at, NULL AS known_no FROM times
        UNION ALL
        SELECT scope, session_id, side, told_at, capture_no FROM known
    )
    GROUP BY scope, session_id, side, told_at
),

judged AS (
    SELECT
        scope, session_id, side, told_at, known_no, place,
        bool_and(place = known_no) FILTER (WHERE known_no IS NOT NULL) OVER visit AS fits,
        max(known_no) OVER visit AS last_no,
        max(place) FILTER (WHERE known_no IS NOT NULL) OVER visit AS last_place
    FROM placed
    WINDOW visit AS (PARTITION BY scope, session_id, side)
),

numbered AS (
    SELECT
        judged.scope, judged.session_id, judged.side, judged.told_at, visits.is_readable,
        CASE
            WHEN NOT visits.is_readable THEN NULL
            WHEN judged.known_no IS NOT NULL THEN judged.known_no
            WHEN judged.fits THEN judged.place
            WHEN judged.place > judged.last_place THEN judged.last_no + judged.place - judged.last_place
            WHEN judged.last_no IS NULL AND (
                stored.last_no IS NULL OR (judged.scope = '' AND visits.n_times >= stored.last_no)
            ) THEN judged.place
        END AS capture_no
    FROM judged
    SEMI JOIN times
        ON
            times.scope = judged.scope
            AND times.session_id IS NOT DISTINCT FROM judged.session_id
            AND times.side = judged.side
            AND times.told_at IS NOT DISTINCT FROM judged.told_at
    INNER JOIN visits
        ON
            visits.scope = judged.scope
            AND visits.session_id IS NOT DISTINCT FROM judged.session_id
            AND visits.side IS NOT DISTINCT FROM judged.side
    LEFT JOIN stored ON stored.session_id = judged.session_id
)

SELECT
    scope, session_id, side, told_at, capture_no,
    CASE WHEN capture_no IS NULL THEN CASE WHEN is_readable THEN 'earlier' ELSE 'order' END END AS fault
FROM numbered;
