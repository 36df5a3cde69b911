-- Answers: the ids of the selected fits and of their fitters. Grain and key: one row a session, numbered by date.
-- Inputs: mart.fits.
SELECT fits.session_id, fits.fitter_id
FROM mart.fits AS fits
WHERE {fits_selected}
ORDER BY fits.fit_no;
