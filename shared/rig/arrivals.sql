-- Answers: both knees as they arrived, with the feet and setups they came with. Grain and key: one row a fit (fit_no) whose tilt
-- was recorded on both sides at arrival. Inputs: mart.fits, mart.feet. Insole levels are numbered, 1: none.
SELECT
    fits.fit_no,
    fits.studio_no AS studio,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter,
    fits.session_date AS day,
    CASE fits.visit_kind WHEN 'first' THEN 0 WHEN 'follow_up' THEN 1 ELSE 2 END AS visit_kind,
    dense_rank() OVER (ORDER BY fits.bike_kind) AS bike_kind,
    left_foot.tilt_arrival_deg AS tilt_left,
    right_foot.tilt_arrival_deg AS tilt_right,
    left_foot.sway_arrival_mm AS sway_left,
    right_foot.sway_arrival_mm AS sway_right,
    left_foot.offset_arrival_mm AS offset_left,
    right_foot.offset_arrival_mm AS offset_right,
    list_position(['low', 'medium', 'high'], left_foot.arch_height)::DOUBLE AS arch_left,
    list_position(['low', 'medium', 'high'], right_foot.arch_height)::DOUBLE AS arch_right,
    list_position(['none', 'some', 'marked'], left_foot.arch_collapse)::DOUBLE AS collapse_left,
    list_position(['none', 'some', 'marked'], right_foot.arch_collapse)::DOUBLE AS collapse_right,
    left_foot.forefoot_angle_deg::DOUBLE AS forefoot_left,
    right_foot.forefoot_angle_deg::DOUBLE AS forefoot_right,
    list_position(['none', 'low', 'medium', 'high', 'custom'], left_foot.insole_arrival)::DOUBLE AS insole_left,
    list_position(['none', 'low', 'medium', 'high', 'custom'], right_foot.insole_arrival)::DOUBLE AS insole_right,
    left_foot.total_shims_arrival::DOUBLE AS shims_left,
    right_foot.total_shims_arrival::DOUBLE AS shims_right,
    left_foot.stance_arrival_mm::DOUBLE AS stance_left,
    right_foot.stance_arrival_mm::DOUBLE AS stance_right
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
WHERE left_foot.tilt_arrival_deg IS NOT NULL AND right_foot.tilt_arrival_deg IS NOT NULL
ORDER BY fits.fit_no;
