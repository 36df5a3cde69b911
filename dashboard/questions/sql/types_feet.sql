-- Answers: the latest selected exam of each foot. Grain and key: one row a rider and side. Inputs: core.foot_exams, mart.fits.
-- A foot collapses where its arch gives way or its heel is everted; it is unknown where neither was told and nothing says so.
WITH examined AS (
    SELECT
        fits.rider_id,
        fits.riding,
        exams.side,
        exams.arch_height,
        exams.arch_collapse,
        exams.heel_posture,
        exams.squat_knee_path,
        exams.forefoot_angle_deg,
        row_number() OVER (
            PARTITION BY fits.rider_id, exams.side ORDER BY fits.session_date DESC, fits.session_id DESC
        ) AS latest
    FROM core.foot_exams AS exams
    INNER JOIN mart.fits AS fits ON fits.session_id = exams.session_id
    WHERE {fits_selected} AND {exams_selected}
)

SELECT
    dense_rank() OVER (ORDER BY exams.rider_id) - 1 AS rider,
    exams.side,
    exams.riding,
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.squat_knee_path,
    {forefoot_of_exam} AS forefoot,
    exams.arch_height || ' arch, ' || {forefoot_of_exam} AS foot_type,
    CASE
        WHEN exams.arch_collapse IN ('some', 'marked') OR exams.heel_posture = 'everted' THEN 'yes'
        WHEN exams.arch_collapse IS NOT NULL AND exams.heel_posture IS NOT NULL THEN 'no'
    END AS collapse
FROM examined AS exams
WHERE exams.latest = 1
ORDER BY exams.rider_id, exams.side;
