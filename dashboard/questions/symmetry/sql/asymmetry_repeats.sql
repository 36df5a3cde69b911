-- Answers: both knees in two captures in a row between which nothing was changed on either foot.
-- Grain and key: one row a session and later capture. Inputs: mart.capture_facts, mart.fits.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    left_knee.knee_tilt_deg AS tilt_left,
    right_knee.knee_tilt_deg AS tilt_right,
    left_knee.knee_tilt_deg - left_knee.tilt_change_deg AS tilt_left_before,
    right_knee.knee_tilt_deg - right_knee.tilt_change_deg AS tilt_right_before,
    left_knee.knee_offset_mm AS offset_left,
    right_knee.knee_offset_mm AS offset_right,
    left_knee.knee_offset_mm - left_knee.offset_change_mm AS offset_left_before,
    right_knee.knee_offset_mm - right_knee.offset_change_mm AS offset_right_before
FROM mart.capture_facts AS left_knee
INNER JOIN mart.capture_facts AS right_knee
    ON right_knee.fit_no = left_knee.fit_no AND right_knee.capture_no = left_knee.capture_no
INNER JOIN mart.fits AS fits ON fits.fit_no = left_knee.fit_no
WHERE left_knee.is_repeat AND right_knee.is_repeat AND left_knee.side = 'left' AND right_knee.side = 'right' AND {fits_selected}
ORDER BY left_knee.fit_no, left_knee.capture_no;
