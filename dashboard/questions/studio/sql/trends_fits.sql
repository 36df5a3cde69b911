-- Answers: what else each fit adds to the trends, and what may explain them: booking, repeat captures, case mix, fitter. Grain
-- and key: one row a session (fit_no). Inputs: mart.fits, mart.feet.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.session_date AS day,
    fits.fitter_no AS fitter,
    fits.visit_kind = 'first' AS is_first,
    fits.n_captures,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    fits.has_repeat,
    abs(left_foot.tilt_arrival_deg) AS off_neutral_arrival_deg_left,
    abs(right_foot.tilt_arrival_deg) AS off_neutral_arrival_deg_right,
    left_foot.sway_arrival_mm AS sway_arrival_mm_left,
    right_foot.sway_arrival_mm AS sway_arrival_mm_right
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
WHERE {fits_selected}
ORDER BY fits.fit_no;
