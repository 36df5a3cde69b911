-- Answers: each fit's outcomes, what its rider came with (case mix), and what was done (process). Grain and key: one row a
-- session (fit_no). Inputs: mart.fits, mart.feet. Exam codes are places in the catalogue's codes, 0 not recorded.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter,
    {visit_kind_code} AS visit_kind,
    coalesce(list_position(CAST($bike_kinds AS VARCHAR[]), fits.bike_kind), 0) AS bike_kind,
    fits.n_captures > 1 AS has_departure,
    left_foot.tilt_arrival_deg AS tilt_left_arrival,
    right_foot.tilt_arrival_deg AS tilt_right_arrival,
    left_foot.tilt_departure_deg AS tilt_left_departure,
    right_foot.tilt_departure_deg AS tilt_right_departure,
    left_foot.sway_arrival_mm AS sway_left_arrival,
    right_foot.sway_arrival_mm AS sway_right_arrival,
    left_foot.forefoot_angle_deg AS forefoot_angle_left,
    right_foot.forefoot_angle_deg AS forefoot_angle_right,
    {arch_height_left_code} AS arch_height_left,
    {arch_height_right_code} AS arch_height_right,
    {arch_collapse_left_code} AS arch_collapse_left,
    {arch_collapse_right_code} AS arch_collapse_right,
    {heel_posture_left_code} AS heel_posture_left,
    {heel_posture_right_code} AS heel_posture_right,
    {squat_knee_path_left_code} AS squat_knee_path_left,
    {squat_knee_path_right_code} AS squat_knee_path_right,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points,
    {asks_follow_up} AND {window_closed} AS is_followable,
    {has_returned} AS has_returned,
    fits.n_feet_examined = 2 AS is_examined,
    fits.has_departure_bike,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    fits.has_repeat
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
WHERE {fits_selected}
ORDER BY fits.fit_no;
