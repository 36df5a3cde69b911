-- Answers: on how many feet of the selected fits one column of the exam is empty. Grain: one row.
-- Inputs: mart.fits, core.foot_exams.
SELECT count(*) - count(exams."{column}") AS n, count(*) AS total
FROM mart.fits AS fits
CROSS JOIN (VALUES ('left'), ('right')) AS sides (side)
LEFT JOIN core.foot_exams AS exams ON exams.session_id = fits.session_id AND exams.side = sides.side
WHERE {fits_selected};
