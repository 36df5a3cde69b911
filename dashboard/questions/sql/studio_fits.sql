-- Answers: what each fit adds to the headline figures. Grain and key: one row a session. Inputs: mart.fits, mart.captures.
-- side_difference_deg: right less left tilt at departure; is_followable: the fit asks for a follow-up and its window has
-- closed by the data's last date; has_returned: attended within the window.
WITH departures AS (
    SELECT
        session_id,
        max(knee_tilt_deg) FILTER (WHERE side = 'right') - max(knee_tilt_deg) FILTER (WHERE side = 'left')
            AS side_difference_deg
    FROM mart.captures
    WHERE is_departure
    GROUP BY session_id
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    fits.session_date AS day,
    departures.side_difference_deg,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points,
    {asks_follow_up} AND {window_closed} AS is_followable,
    {has_returned} AS has_returned
FROM mart.fits AS fits
LEFT JOIN departures ON departures.session_id = fits.session_id
WHERE {fits_selected}
ORDER BY fits.session_id;
