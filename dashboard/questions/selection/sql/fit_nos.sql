-- Answers: the numbers of the selected fits. Grain and key: one row a fit (fit_no), rising. Inputs: mart.fits.
SELECT fits.fit_no
FROM mart.fits AS fits
WHERE {fits_selected}
ORDER BY fits.fit_no;
