-- Answers: each fit that asks for a follow-up, both knees as it left them and as the follow-up first found them. Grain and key: one
-- row a session that asks for a follow-up, numbered by date (fit_no). Inputs: mart.fits, mart.feet.
-- is_closed: its window has closed by the data's last date; empty found columns: not measured again. Both knees are told, whichever
-- side is selected.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.session_date,
    fits.attended_on IS NOT NULL AS is_seen,
    {window_closed} AS is_closed,
    left_foot.tilt_departure_deg AS tilt_left_departure_deg,
    right_foot.tilt_departure_deg AS tilt_right_departure_deg,
    left_found.tilt_arrival_deg AS tilt_left_found_deg,
    right_found.tilt_arrival_deg AS tilt_right_found_deg
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
LEFT JOIN mart.feet AS left_found ON left_found.fit_no = fits.returned_fit_no AND left_found.side = 'left'
LEFT JOIN mart.feet AS right_found ON right_found.fit_no = fits.returned_fit_no AND right_found.side = 'right'
WHERE {asks_follow_up} AND {fits_selected}
ORDER BY fits.fit_no;
