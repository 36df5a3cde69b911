-- Answers: what else each fit adds to the trends, and what may explain them: booking, repeat captures, case mix, fitter. Grain
-- and key: one row a session. Inputs: mart.fits, mart.feet. Arrival columns: the mean over the selected knees.
WITH recorded AS (
    SELECT
        feet.fit_no,
        avg(abs(feet.tilt_arrival_deg)) AS off_neutral_arrival_deg,
        avg(feet.sway_arrival_mm) AS sway_arrival_mm
    FROM mart.feet AS feet
    WHERE {feet_selected}
    GROUP BY feet.fit_no
)

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
    recorded.off_neutral_arrival_deg,
    recorded.sway_arrival_mm
FROM mart.fits AS fits
LEFT JOIN recorded ON recorded.fit_no = fits.fit_no
WHERE {fits_selected}
ORDER BY fits.fit_no;
