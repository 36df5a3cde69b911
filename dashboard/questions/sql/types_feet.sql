-- Answers: the latest selected exam of each foot. Grain and key: one row a rider and side; fit: the exam's, numbered by date.
-- Inputs: core.foot_exams, mart.fits. A foot collapses where its arch gives way or its heel is everted; it is unknown where one
-- of the two was not told and the other says nothing.
WITH chosen AS (
    SELECT
        row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
        fits.session_id,
        fits.rider_id
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

examined AS (
    SELECT
        chosen.fit,
        chosen.rider_id,
        exams.side,
        exams.arch_height,
        exams.arch_collapse,
        exams.heel_posture,
        exams.forefoot_angle_deg,
        row_number() OVER (PARTITION BY chosen.rider_id, exams.side ORDER BY chosen.fit DESC) AS latest
    FROM core.foot_exams AS exams
    INNER JOIN chosen ON chosen.session_id = exams.session_id
    WHERE {exams_selected}
)

SELECT
    dense_rank() OVER (ORDER BY exams.rider_id) - 1 AS rider,
    exams.fit,
    exams.side,
    exams.arch_height,
    exams.arch_collapse,
    {forefoot_of_exam} AS forefoot,
    exams.arch_height || ' arch, ' || {forefoot_of_exam} AS foot_type,
    CASE
        WHEN exams.arch_collapse IN ('some', 'marked') OR exams.heel_posture = 'everted' THEN 'yes'
        WHEN exams.arch_collapse IS NOT NULL AND exams.heel_posture IS NOT NULL THEN 'no'
    END AS collapse
FROM examined AS exams
WHERE exams.latest = 1
ORDER BY exams.rider_id, exams.side;
