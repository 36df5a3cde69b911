-- Answers: what came of a few fits, to tell of them. Grain and key: one row a session (fit_no). Inputs: mart.fits, mart.feet,
-- mart.ratings. Pain: of the worst part that was rated at both ends.
SELECT
    fits.fit_no,
    fits.session_id,
    left_foot.tilt_arrival_deg AS tilt_left_arrival,
    left_foot.tilt_departure_deg AS tilt_left_departure,
    right_foot.tilt_arrival_deg AS tilt_right_arrival,
    right_foot.tilt_departure_deg AS tilt_right_departure,
    fits.comfort_arrival,
    fits.comfort_departure,
    max(ratings.arrival) AS pain_arrival,
    max(ratings.departure) AS pain_departure
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
LEFT JOIN mart.ratings AS ratings
    ON
        ratings.fit_no = fits.fit_no
        AND ratings.topic = 'pain'
        AND ratings.arrival IS NOT NULL
        AND ratings.departure IS NOT NULL
WHERE fits.fit_no IN (SELECT unnest(CAST($fit_nos AS INTEGER[])))
GROUP BY ALL
ORDER BY fits.fit_no;
