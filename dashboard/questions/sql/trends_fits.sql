-- Answers: what else each fit adds to the trends, and what may explain them: booking, repeat captures, case mix, fitter. Grain
-- and key: one row a session. Inputs: mart.fits, mart.captures.
WITH recorded AS (
    SELECT
        captures.session_id,
        avg(abs(captures.knee_tilt_deg)) FILTER (WHERE captures.is_arrival) AS off_neutral_arrival_deg,
        avg(captures.knee_sway_mm) FILTER (WHERE captures.is_arrival) AS sway_arrival_mm
    FROM mart.captures AS captures
    WHERE {captures_selected}
    GROUP BY captures.session_id
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    fits.session_date AS day,
    fits.fitter_id,
    fits.visit_kind = 'first' AS is_first,
    fits.n_captures,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    {has_repeat} AS has_repeat,
    recorded.off_neutral_arrival_deg,
    recorded.sway_arrival_mm
FROM mart.fits AS fits
LEFT JOIN recorded ON recorded.session_id = fits.session_id
WHERE {fits_selected}
ORDER BY fits.session_id;
