-- Answers: what the rules ask of a whole fit, and its outcomes. Grain and key: one row a session (fit_no, numbered by date).
-- Inputs: mart.fits, mart.feet. has_departure: two captures or more; saddle_condition: its place in the catalogue's codes, 0
-- not recorded.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter,
    fits.session_date,
    fits.n_captures > 1 AS has_departure,
    fits.sit_bone_width_mm,
    fits.saddle_width_mm,
    {saddle_condition_code} AS saddle_condition,
    left_foot.tilt_arrival_deg AS tilt_left_deg,
    right_foot.tilt_arrival_deg AS tilt_right_deg,
    left_foot.offset_arrival_mm AS offset_left_mm,
    right_foot.offset_arrival_mm AS offset_right_mm,
    left_foot.sway_arrival_mm AS sway_left_mm,
    right_foot.sway_arrival_mm AS sway_right_mm,
    left_foot.tilt_departure_deg AS tilt_left_departure_deg,
    right_foot.tilt_departure_deg AS tilt_right_departure_deg,
    left_foot.sway_departure_mm AS sway_left_departure_mm,
    right_foot.sway_departure_mm AS sway_right_departure_mm,
    fits.comfort_arrival,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
WHERE {fits_selected}
ORDER BY fits.fit_no;
