-- Answers: what riders said of one topic and part of the body at arrival, at departure and at the follow-up's first capture.
-- Grain and key: one row a fit (numbered by date), topic and body part. Inputs: mart.fits, core.rider_ratings, core.follow_ups.
-- Departure is empty where the session holds one capture only; the follow-up is the first attended one that names its session.
WITH chosen AS (
    SELECT
        row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
        dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
        fits.session_id,
        fits.arrival_no,
        CASE WHEN fits.departure_no > fits.arrival_no THEN fits.departure_no END AS departure_no
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

followed AS (
    SELECT session_id, arg_min(returned_session_id, attended_on) AS returned_session_id
    FROM core.follow_ups
    WHERE state = 'attended' AND returned_session_id IS NOT NULL
    GROUP BY session_id
),

rated AS (
    SELECT
        chosen.fit,
        chosen.rider,
        ratings.topic,
        ratings.body_part,
        ratings.score,
        CASE
            WHEN ratings.capture_no = chosen.arrival_no THEN 'arrival'
            WHEN ratings.capture_no = chosen.departure_no THEN 'departure'
        END AS moment
    FROM chosen
    INNER JOIN core.rider_ratings AS ratings ON ratings.session_id = chosen.session_id
    UNION ALL
    SELECT
        chosen.fit,
        chosen.rider,
        ratings.topic,
        ratings.body_part,
        ratings.score,
        'follow_up' AS moment
    FROM chosen
    INNER JOIN followed ON followed.session_id = chosen.session_id
    INNER JOIN mart.fits AS returned ON returned.session_id = followed.returned_session_id
    INNER JOIN core.rider_ratings AS ratings
        ON ratings.session_id = returned.session_id AND ratings.capture_no = returned.arrival_no
)

SELECT
    fit,
    rider,
    topic,
    body_part,
    max(score) FILTER (WHERE moment = 'arrival') AS arrival,
    max(score) FILTER (WHERE moment = 'departure') AS departure,
    max(score) FILTER (WHERE moment = 'follow_up') AS follow_up
FROM rated
GROUP BY fit, rider, topic, body_part
ORDER BY fit, topic, body_part;
