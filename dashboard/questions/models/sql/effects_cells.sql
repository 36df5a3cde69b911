-- Answers: the knees of each fit that were captured with a recorded setup, with exam and every column to split by that is the
-- same in all their captures. Grain and key: one row a fit and side (fit, side), by rider, session and side; fit is
-- its number in mart.fits, foot twice that and one more on the right. Inputs: mart.capture_facts, mart.fits, core.foot_exams.
WITH recorded AS (
    SELECT DISTINCT session_id, side
    FROM mart.capture_facts
    WHERE insole_level IS NOT NULL
),

arrivals AS (
    SELECT
        session_id,
        side,
        {arrival_direction} AS arrival_direction
    FROM mart.capture_facts
    WHERE is_arrival
)

SELECT
    fits.fit_no AS fit,
    2 * fits.fit_no + (recorded.side = 'right')::INTEGER AS foot,
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    dense_rank() OVER (ORDER BY fits.rider_id, recorded.side) - 1 AS knee,
    fits.rider_id,
    recorded.side,
    fits.visit_kind,
    fits.bike_kind,
    fits.riding,
    fits.sex,
    {age_band} AS age_band,
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.squat_knee_path,
    exams.forefoot_angle_deg,
    {forefoot_of_exam} AS forefoot,
    exams.arch_height || ' arch, ' || {forefoot_of_exam} AS foot_type,
    {foot_posture} AS foot_posture,
    {hip_flexion} AS hip_flexion,
    arrivals.arrival_direction
FROM recorded
INNER JOIN mart.fits AS fits ON fits.session_id = recorded.session_id
LEFT JOIN arrivals ON arrivals.session_id = recorded.session_id AND arrivals.side = recorded.side
LEFT JOIN core.foot_exams AS exams ON exams.session_id = recorded.session_id AND exams.side = recorded.side
ORDER BY fits.rider_id, fits.session_id, recorded.side;
