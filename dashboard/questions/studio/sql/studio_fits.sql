-- Answers: what each fit adds to the headline figures. Grain and key: one row a session. Inputs: mart.fits, mart.feet.
-- is_followable: the fit asks for a follow-up and its window has closed by the data's last date; has_returned: attended within
-- the window.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.session_date AS day,
    left_foot.tilt_departure_deg AS tilt_left_departure,
    right_foot.tilt_departure_deg AS tilt_right_departure,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points,
    {asks_follow_up} AND {window_closed} AS is_followable,
    {has_returned} AS has_returned
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
WHERE {fits_selected}
ORDER BY fits.fit_no;
