-- Makes: mart.ratings, what a rider said of one topic and part of the body at arrival, at departure and at the follow-up's first
-- capture. Grain and key: one row a fit, topic and body part (fit_no, topic, body_part), in that order. Departure is empty where
-- the session holds one capture only; the follow-up is the first attended one that names its session.
-- Inputs: core.rider_ratings, mart.fit_numbers, mart.fits.
CREATE OR REPLACE TABLE mart.ratings AS
WITH rated AS MATERIALIZED (
    SELECT
        numbers.fit_no,
        ratings.topic,
        ratings.body_part,
        ratings.score,
        CASE
            WHEN ratings.capture_no = numbers.arrival_no THEN 'arrival'
            WHEN ratings.capture_no = numbers.departure_no THEN 'departure'
        END AS moment
    FROM core.rider_ratings AS ratings
    INNER JOIN mart.fit_numbers AS numbers ON numbers.session_id = ratings.session_id
),

told AS (
    SELECT fit_no, topic, body_part, score, moment
    FROM rated
    UNION ALL
    SELECT fits.fit_no, rated.topic, rated.body_part, rated.score, 'follow_up' AS moment
    FROM mart.fits AS fits
    INNER JOIN rated ON rated.fit_no = fits.returned_fit_no AND rated.moment = 'arrival'
)

SELECT
    fit_no,
    topic,
    body_part,
    max(score) FILTER (WHERE moment = 'arrival') AS arrival,
    max(score) FILTER (WHERE moment = 'departure') AS departure,
    max(score) FILTER (WHERE moment = 'follow_up') AS follow_up
FROM told
GROUP BY fit_no, topic, body_part
ORDER BY fit_no, topic, body_part;
