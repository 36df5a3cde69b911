-- Answers: both knees of each selected fit at arrival and departure. Grain and key: one row a session (fit_no, numbered by date).
-- Inputs: mart.fits, mart.feet. is_first: the rider's first session. Departure is empty where the session holds one capture only.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.visit_no = 1 AS is_first,
    fits.n_captures > 1 AS has_departure,
    fits.studio_no AS studio,
    left_foot.tilt_arrival_deg AS tilt_left_arrival,
    right_foot.tilt_arrival_deg AS tilt_right_arrival,
    left_foot.sway_arrival_mm AS sway_left_arrival,
    right_foot.sway_arrival_mm AS sway_right_arrival,
    left_foot.offset_arrival_mm AS offset_left_arrival,
    right_foot.offset_arrival_mm AS offset_right_arrival,
    left_foot.tilt_departure_deg AS tilt_left_departure,
    right_foot.tilt_departure_deg AS tilt_right_departure,
    left_foot.sway_departure_mm AS sway_left_departure,
    right_foot.sway_departure_mm AS sway_right_departure,
    left_foot.offset_departure_mm AS offset_left_departure,
    right_foot.offset_departure_mm AS offset_right_departure
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
WHERE {fits_selected}
ORDER BY fits.fit_no;
