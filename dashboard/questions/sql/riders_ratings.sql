-- Answers: what the rider said at the selected fits. Grain and key: one row a session, topic and part of the body.
-- Inputs: mart.fits, core.rider_ratings, core.follow_ups. follow_up: at the first capture of the session that followed the fit up.
WITH visits AS (
    SELECT session_id, min(returned_session_id) AS returned_session_id
    FROM core.follow_ups
    WHERE state = 'attended' AND returned_session_id IS NOT NULL
    GROUP BY session_id
),

said AS (
    SELECT fits.session_id, ratings.topic, ratings.body_part, ratings.score, CASE
        WHEN ratings.capture_no = fits.arrival_no THEN 'arrival'
        WHEN ratings.capture_no = fits.departure_no THEN 'departure'
    END AS moment
    FROM mart.fits AS fits
    INNER JOIN core.rider_ratings AS ratings ON ratings.session_id = fits.session_id
    WHERE {fits_selected}
    UNION ALL
    SELECT fits.session_id, ratings.topic, ratings.body_part, ratings.score, 'follow_up' AS moment
    FROM mart.fits AS fits
    INNER JOIN visits ON visits.session_id = fits.session_id
    INNER JOIN mart.fits AS found ON found.session_id = visits.returned_session_id
    INNER JOIN core.rider_ratings AS ratings
        ON ratings.session_id = found.session_id AND ratings.capture_no = found.arrival_no
    WHERE {fits_selected}
)

SELECT
    said.session_id,
    fits.session_date,
    said.topic,
    said.body_part,
    max(said.score) FILTER (WHERE said.moment = 'arrival') AS arrival,
    max(said.score) FILTER (WHERE said.moment = 'departure') AS departure,
    max(said.score) FILTER (WHERE said.moment = 'follow_up') AS follow_up
FROM said
INNER JOIN mart.fits AS fits ON fits.session_id = said.session_id
GROUP BY ALL
HAVING count(said.moment) > 0
ORDER BY fits.session_date, said.session_id, said.topic, said.body_part;
