-- Answers: both knees of one capture beside those of the capture before, with the setups of both feet in both. Grain and key: one
-- row a fit and later capture (fit_no, capture_order), in that order. Inputs: mart.capture_facts, mart.fits. `is_repeat_*`: that foot's setup
-- is the one of the capture before; changes: later less earlier; insole levels are numbered, 1: none.
WITH knees AS (
    SELECT
        left_foot.fit_no,
        left_foot.capture_order,
        left_foot.is_repeat AS is_repeat_left,
        right_foot.is_repeat AS is_repeat_right,
        left_foot.knee_tilt_deg AS tilt_left,
        right_foot.knee_tilt_deg AS tilt_right,
        left_foot.knee_sway_mm AS sway_left,
        right_foot.knee_sway_mm AS sway_right,
        left_foot.knee_offset_mm AS offset_left,
        right_foot.knee_offset_mm AS offset_right,
        left_foot.insole_level AS insole_left,
        right_foot.insole_level AS insole_right,
        left_foot.total_shims AS shims_left,
        right_foot.total_shims AS shims_right,
        left_foot.stance_mm AS stance_left,
        right_foot.stance_mm AS stance_right
    FROM mart.capture_facts AS left_foot
    INNER JOIN mart.capture_facts AS right_foot ON right_foot.fit_no = left_foot.fit_no AND right_foot.capture_no = left_foot.capture_no
    WHERE left_foot.side = 'left' AND right_foot.side = 'right'
)

SELECT
    later.fit_no,
    fits.studio_no AS studio,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter,
    fits.session_date AS day,
    later.is_repeat_left,
    later.is_repeat_right,
    earlier.tilt_left AS tilt_left_before,
    earlier.tilt_right AS tilt_right_before,
    later.tilt_left,
    later.tilt_right,
    later.sway_left - earlier.sway_left AS sway_left_change,
    later.sway_right - earlier.sway_right AS sway_right_change,
    later.offset_left - earlier.offset_left AS offset_left_change,
    later.offset_right - earlier.offset_right AS offset_right_change,
    list_position(['none', 'low', 'medium', 'high', 'custom'], earlier.insole_left)::DOUBLE AS insole_left_before,
    list_position(['none', 'low', 'medium', 'high', 'custom'], later.insole_left)::DOUBLE AS insole_left,
    list_position(['none', 'low', 'medium', 'high', 'custom'], earlier.insole_right)::DOUBLE AS insole_right_before,
    list_position(['none', 'low', 'medium', 'high', 'custom'], later.insole_right)::DOUBLE AS insole_right,
    (later.shims_left - earlier.shims_left)::DOUBLE AS shims_left,
    (later.shims_right - earlier.shims_right)::DOUBLE AS shims_right,
    later.stance_left - earlier.stance_left AS stance_left,
    later.stance_right - earlier.stance_right AS stance_right
FROM knees AS later
INNER JOIN knees AS earlier ON earlier.fit_no = later.fit_no AND earlier.capture_order = later.capture_order - 1
INNER JOIN mart.fits AS fits ON fits.fit_no = later.fit_no
ORDER BY later.fit_no, later.capture_order;
