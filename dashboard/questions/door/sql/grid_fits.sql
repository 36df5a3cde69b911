-- Answers: whose each fit is. Grain and key: one row a fit (fit_no), rising. Inputs: mart.fits.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter
FROM mart.fits AS fits
ORDER BY fits.fit_no;
