-- Answers: on how many feet of the selected fits each column of the exam is recorded, of how many. Grain: one row.
-- Inputs: mart.fits, core.foot_exams. Every fit has two feet.
SELECT 2 * (SELECT count(*) FROM mart.fits AS fits WHERE {fits_selected}) AS total, {counts}
FROM mart.fits AS fits
INNER JOIN core.foot_exams AS exams ON exams.session_id = fits.session_id
WHERE {fits_selected};
