-- Answers: each knee as a fit left it and as the follow-up first found it. Grain and key: one row a session and side, of fits
-- whose window has closed; empty found columns: not seen again. Inputs: mart.feet, mart.fits.
SELECT
    feet.fit_no,
    (feet.side = 'right')::TINYINT AS side,
    fits.rider_no AS rider,
    feet.tilt_departure_deg AS tilt_left_deg,
    found.tilt_arrival_deg AS tilt_found_deg,
    feet.sway_departure_mm AS sway_left_mm,
    found.sway_arrival_mm AS sway_found_mm
FROM mart.feet AS feet
INNER JOIN mart.fits AS fits ON fits.fit_no = feet.fit_no
LEFT JOIN mart.feet AS found ON found.fit_no = fits.returned_fit_no AND found.side = feet.side
WHERE {asks_follow_up} AND {window_closed} AND {fits_selected} AND {feet_selected}
ORDER BY feet.fit_no, feet.side;
