-- Makes: mart.fit_numbers, each fit's number and what its captures span. Grain and key: one row a session (session_id), in the
-- order of fit_no, which counts from 0 by date and id. rider_no: the rider's place among all riders, by id; visit_no: 1 for the
-- rider's first session by date; arrival_no, departure_no: lowest and highest capture. Inputs: core.fit_sessions, core.riders, core.knee_captures,
-- earlier_numbers: the numbers before, whose captures still count where {is_untouched}; those of the others are counted where {is_touched}.
CREATE OR REPLACE TABLE mart.fit_numbers AS
WITH captured AS (
    SELECT
        session_id,
        min(capture_no) AS arrival_no,
        max(capture_no) AS departure_no,
        -- One bit a number, 1 to 99: several times cheaper than counting distinct ones.
        bit_count(bit_or(1::HUGEINT << capture_no))::BIGINT AS n_captures
    FROM core.knee_captures
    WHERE {is_touched}
    GROUP BY session_id
    UNION ALL
    SELECT session_id, arrival_no, departure_no, n_captures
    FROM earlier_numbers
    WHERE {is_untouched}
),

riders AS (
    SELECT rider_id, (row_number() OVER (ORDER BY rider_id) - 1)::INTEGER AS rider_no
    FROM core.riders
),

numbered AS (
    SELECT
        (row_number() OVER (ORDER BY sessions.session_date, sessions.session_id) - 1)::INTEGER AS fit_no,
        sessions.session_id,
        riders.rider_no
    FROM core.fit_sessions AS sessions
    INNER JOIN riders ON riders.rider_id = sessions.rider_id
)

SELECT
    numbered.fit_no,
    numbered.session_id,
    numbered.rider_no,
    row_number() OVER (PARTITION BY numbered.rider_no ORDER BY numbered.fit_no) AS visit_no,
    captured.arrival_no,
    captured.departure_no,
    coalesce(captured.n_captures, 0) AS n_captures
FROM numbered
LEFT JOIN captured ON captured.session_id = numbered.session_id
ORDER BY numbered.fit_no;
