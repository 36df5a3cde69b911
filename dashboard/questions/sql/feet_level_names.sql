-- Answers: the levels of a split that the feet of the selected fits have. Grain and key: level. Inputs: mart.fits, mart.feet.
SELECT DISTINCT {level} AS level
FROM mart.feet AS exams
INNER JOIN mart.fits AS fits ON fits.fit_no = exams.fit_no
WHERE {fits_selected} AND {level} IS NOT NULL
ORDER BY level;
