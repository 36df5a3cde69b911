-- Answers: the knee captures that the effects are estimated from, with setup, exam and every column to split by.
-- Grain and key: one row a knee in one capture (session_knee, capture_no), in that order. Captures without a recorded setup
-- are left out. Inputs: mart.captures, mart.fits, core.foot_exams.
WITH arrivals AS (
    SELECT
        session_id,
        side,
        {arrival_direction} AS arrival_direction
    FROM mart.captures
    WHERE is_arrival
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    dense_rank() OVER (ORDER BY fits.rider_id, captures.side) - 1 AS knee,
    dense_rank() OVER (ORDER BY fits.session_id) - 1 AS visit,
    dense_rank() OVER (ORDER BY fits.session_id, captures.side) - 1 AS session_knee,
    fits.rider_id,
    captures.capture_no,
    captures.side,
    captures.capture_order,
    captures.is_arrival,
    captures.is_departure,
    captures.insole_level,
    captures.total_shims,
    captures.shim_place,
    captures.stance_mm,
    captures.stance_by,
    captures.visit_kind,
    captures.bike_kind,
    captures.riding,
    fits.sex,
    {age_band} AS age_band,
    captures.arch_height,
    captures.arch_collapse,
    captures.heel_posture,
    captures.squat_knee_path,
    captures.forefoot_angle_deg,
    {forefoot_class} AS forefoot,
    captures.arch_height || ' arch, ' || {forefoot_class} AS foot_type,
    {foot_posture} AS foot_posture,
    {hip_flexion} AS hip_flexion,
    arrivals.arrival_direction,
    captures.knee_tilt_deg AS tilt,
    captures.knee_sway_mm AS sway,
    captures.knee_offset_mm AS "offset"
FROM mart.captures AS captures
INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
LEFT JOIN arrivals ON arrivals.session_id = captures.session_id AND arrivals.side = captures.side
LEFT JOIN core.foot_exams AS exams ON exams.session_id = captures.session_id AND exams.side = captures.side
WHERE captures.insole_level IS NOT NULL AND {fits_selected} AND {captures_selected}
ORDER BY session_knee, captures.capture_no;
