-- Answers: the fits that the selection asks for, by their number in mart.fits. Grain and key: one row a fit (fit).
-- Inputs: mart.fits; core.foot_exams where feet are asked for.
SELECT fits.rowid AS fit
FROM mart.fits AS fits
WHERE {fits_selected};
