-- Answers: what changed of each knee from arrival to departure. Grain and key: one row a session and side (fit_no, side), of selected
-- feet in fits of two or more captures. Inputs: mart.feet, mart.fits.
SELECT
    fits.rider_no AS rider,
    abs(feet.tilt_departure_deg) - abs(feet.tilt_arrival_deg) AS off_neutral_change,
    feet.sway_departure_mm - feet.sway_arrival_mm AS sway_change
FROM mart.feet AS feet
INNER JOIN mart.fits AS fits ON fits.fit_no = feet.fit_no
WHERE {fits_selected} AND {feet_selected} AND fits.n_captures > 1
ORDER BY feet.fit_no, feet.side;
