-- Answers: every selected exam of a foot. Grain and key: one row a fit (numbered by date) and side. Inputs: mart.feet, mart.fits.
-- Codes: places in the catalogue's codes, 0 not recorded.
SELECT
    fits.rider_no AS rider,
    exams.fit_no,
    (exams.side = 'right')::TINYINT AS side,
    {arch_height_code} AS arch_height,
    {arch_collapse_code} AS arch_collapse,
    {forefoot_code} AS forefoot,
    {heel_posture_code} AS heel_posture
FROM mart.feet AS exams
INNER JOIN mart.fits AS fits ON fits.fit_no = exams.fit_no
WHERE exams.has_exam AND {fits_selected} AND {exams_selected}
ORDER BY exams.fit_no, exams.side;
