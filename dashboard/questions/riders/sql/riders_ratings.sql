-- Answers: what the rider said at the selected fits. Grain and key: one row a session, topic and part of the body.
-- Inputs: mart.fits, core.rider_ratings, core.follow_ups. follow_up: at the first capture of the session that followed the fit up.
WITH chosen AS MATERIALIZED (
    SELECT fits.session_id, fits.session_date, fits.arrival_no, fits.departure_no
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

visits AS (
    SELECT chosen.session_id, min(bookings.returned_session_id) AS returned_session_id
    FROM chosen
    INNER JOIN core.follow_ups AS bookings ON bookings.session_id = chosen.session_id
    WHERE bookings.state = 'attended' AND bookings.returned_session_id IS NOT NULL
    GROUP BY chosen.session_id
),

-- Each moment of a fit with the session and capture in which it was rated.
moments AS MATERIALIZED (
    SELECT session_id, session_date, 'arrival' AS moment, session_id AS rated_id, arrival_no AS rated_no
    FROM chosen
    UNION ALL
    SELECT session_id, session_date, 'departure' AS moment, session_id AS rated_id, departure_no AS rated_no
    FROM chosen
    WHERE departure_no > arrival_no
    UNION ALL
    SELECT chosen.session_id, chosen.session_date, 'follow_up' AS moment, found.session_id AS rated_id, found.arrival_no AS rated_no
    FROM chosen
    INNER JOIN visits ON visits.session_id = chosen.session_id
    INNER JOIN mart.fits AS found ON found.session_id = visits.returned_session_id
)

SELECT
    moments.session_id,
    moments.session_date,
    ratings.topic,
    ratings.body_part,
    max(ratings.score) FILTER (WHERE moments.moment = 'arrival') AS arrival,
    max(ratings.score) FILTER (WHERE moments.moment = 'departure') AS departure,
    max(ratings.score) FILTER (WHERE moments.moment = 'follow_up') AS follow_up
FROM moments
INNER JOIN core.rider_ratings AS ratings ON ratings.session_id = moments.rated_id AND ratings.capture_no = moments.rated_no
GROUP BY moments.session_id, moments.session_date, ratings.topic, ratings.body_part
ORDER BY moments.session_date, moments.session_id, ratings.topic, ratings.body_part;
