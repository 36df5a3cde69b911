-- Answers: the knee captures that the effects are estimated from, with setup and exam. Grain and key: one row a knee in one
-- capture (visit, capture_no, side), in that order. Inputs: mart.captures, mart.fits. Captures without a recorded setup are left out.
SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    dense_rank() OVER (ORDER BY fits.rider_id, captures.side) - 1 AS knee,
    dense_rank() OVER (ORDER BY fits.session_id) - 1 AS visit,
    dense_rank() OVER (ORDER BY fits.session_id, captures.side) - 1 AS session_knee,
    captures.capture_no,
    captures.side,
    captures.capture_order,
    captures.insole_level,
    captures.total_shims,
    captures.stance_mm,
    captures.visit_kind,
    captures.riding,
    captures.arch_height,
    captures.arch_collapse,
    captures.heel_posture,
    captures.squat_knee_path,
    captures.forefoot_angle_deg,
    {forefoot_class} AS forefoot,
    captures.arch_height || ' arch, ' || {forefoot_class} AS foot_type,
    captures.knee_tilt_deg AS tilt,
    captures.knee_sway_mm AS sway,
    captures.knee_offset_mm AS "offset"
FROM mart.captures AS captures
INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
WHERE captures.insole_level IS NOT NULL AND {fits_selected} AND {captures_selected}
ORDER BY fits.session_id, captures.side, captures.capture_no;
