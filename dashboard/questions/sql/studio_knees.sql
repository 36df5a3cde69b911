-- Answers: each knee's tilt at arrival and departure. Grain and key: one row a session and side. Inputs: mart.knees, mart.fits.
SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    fits.session_date AS day,
    abs(knees.tilt_arrival_deg) - abs(knees.tilt_departure_deg) AS nearer_neutral_deg
FROM mart.knees AS knees
INNER JOIN mart.fits AS fits ON fits.session_id = knees.session_id
WHERE {fits_selected} AND {knees_selected} AND knees.tilt_arrival_deg IS NOT NULL AND knees.tilt_departure_deg IS NOT NULL
ORDER BY knees.session_id, knees.side;
