-- Answers: how much nearer to neutral each knee's tilt left than it came. Grain and key: one row a session and side, of knees
-- recorded at both ends. Inputs: mart.feet, mart.fits.
SELECT
    feet.fit_no,
    (feet.side = 'right')::TINYINT AS side,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter,
    fits.session_date AS day,
    abs(feet.tilt_arrival_deg) - abs(feet.tilt_departure_deg) AS nearer_neutral_deg
FROM mart.feet AS feet
INNER JOIN mart.fits AS fits ON fits.fit_no = feet.fit_no
WHERE
    {fits_selected}
    AND {feet_selected}
    AND fits.n_captures > 1
    AND feet.tilt_arrival_deg IS NOT NULL
    AND feet.tilt_departure_deg IS NOT NULL
ORDER BY feet.fit_no, feet.side;
