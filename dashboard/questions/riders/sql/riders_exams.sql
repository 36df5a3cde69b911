-- Answers: each foot as examined at the selected fits, by date. Grain and key: one row a session and side.
-- Inputs: mart.fits, core.foot_exams.
SELECT
    exams.session_id,
    fits.session_date,
    exams.side,
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.forefoot_angle_deg,
    {forefoot_of_exam} AS forefoot,
    exams.squat_knee_path,
    exams.hip_flexion_deg,
    exams.foot_posture_index
FROM mart.fits AS fits
INNER JOIN core.foot_exams AS exams ON exams.session_id = fits.session_id
WHERE {fits_selected}
ORDER BY fits.session_date, exams.session_id, exams.side;
