-- Answers: the kinds by which figures may be split, for each foot of the selected fits. Grain and key: one row a fit and side
-- (one without side where no foot was examined). Inputs: mart.fits, core.foot_exams. fit: numbered by date, as in every question.
WITH chosen AS (
    SELECT
        row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
        fits.session_id,
        fits.riding
    FROM mart.fits AS fits
    WHERE {fits_selected}
)

SELECT
    chosen.fit,
    chosen.riding,
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.squat_knee_path,
    {forefoot_of_exam} AS forefoot,
    exams.arch_height || ' arch, ' || {forefoot_of_exam} AS foot_type
FROM chosen
LEFT JOIN core.foot_exams AS exams ON exams.session_id = chosen.session_id
ORDER BY chosen.fit, exams.side;
