-- Answers: the fitter of every fit, by number. Grain and key: one row a fit (fit_no). Inputs: mart.fits.
SELECT
    fits.fit_no,
    fits.fitter_no AS fitter
FROM mart.fits AS fits
ORDER BY fits.fit_no;
