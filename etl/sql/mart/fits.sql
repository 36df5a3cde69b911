-- Makes: mart.fits, one fit wide. Grain and key: one row a session (session_id). Inputs: core.*.
-- arrival_no, departure_no: lowest and highest capture; visit_no: 1 for the rider's first session by date.
CREATE OR REPLACE TABLE mart.fits AS
WITH captured AS MATERIALIZED (
    SELECT
        session_id,
        min(capture_no) AS arrival_no,
        max(capture_no) AS departure_no,
        -- One bit a number, 1 to 99: several times cheaper than counting distinct ones.
        bit_count(bit_or(1::HUGEINT << capture_no))::BIGINT AS n_captures
    FROM core.knee_captures
    GROUP BY session_id
),

examined AS (
    SELECT
        session_id,
        count(*) FILTER (WHERE arch_height IS NOT NULL AND forefoot_angle_deg IS NOT NULL) AS n_feet_examined
    FROM core.foot_exams
    GROUP BY session_id
),

measured AS (
    SELECT
        session_id,
        bool_or(moment = 'departure') AS has_departure_bike
    FROM core.bike_measures
    GROUP BY session_id
),

comfort AS (
    SELECT
        ratings.session_id,
        avg(ratings.score) FILTER (WHERE ratings.capture_no = captured.arrival_no) AS comfort_arrival,
        avg(ratings.score) FILTER (WHERE ratings.capture_no = captured.departure_no) AS comfort_departure
    FROM core.rider_ratings AS ratings
    INNER JOIN captured ON captured.session_id = ratings.session_id
    WHERE ratings.topic = 'comfort' AND captured.departure_no > captured.arrival_no
    GROUP BY ratings.session_id
),

followed AS (
    SELECT
        session_id,
        min(booked_on) AS booked_on,
        min(due_on) AS due_on,
        min(attended_on) FILTER (WHERE state = 'attended') AS attended_on
    FROM core.follow_ups
    GROUP BY session_id
)

SELECT
    sessions.session_id,
    sessions.rider_id,
    sessions.fitter_id,
    sessions.studio_id,
    sessions.session_date,
    sessions.visit_kind,
    sessions.bike_kind,
    riders.riding,
    riders.sex,
    riders.birth_year,
    row_number() OVER (PARTITION BY sessions.rider_id ORDER BY sessions.session_date, sessions.session_id) AS visit_no,
    captured.arrival_no,
    captured.departure_no,
    coalesce(captured.n_captures, 0) AS n_captures,
    coalesce(examined.n_feet_examined, 0) AS n_feet_examined,
    coalesce(measured.has_departure_bike, false) AS has_departure_bike,
    comfort.comfort_arrival,
    comfort.comfort_departure,
    followed.booked_on,
    followed.due_on,
    followed.attended_on
FROM core.fit_sessions AS sessions
INNER JOIN core.riders AS riders ON riders.rider_id = sessions.rider_id
LEFT JOIN captured ON captured.session_id = sessions.session_id
LEFT JOIN examined ON examined.session_id = sessions.session_id
LEFT JOIN measured ON measured.session_id = sessions.session_id
LEFT JOIN comfort ON comfort.session_id = sessions.session_id
LEFT JOIN followed ON followed.session_id = sessions.session_id
ORDER BY sessions.session_id;
