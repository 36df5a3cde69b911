-- Answers: the ids of the fits in $fit_nos. Grain and key: one row a session (fit_no). Inputs: mart.fits.
SELECT fit_no, session_id
FROM mart.fits
WHERE fit_no IN (SELECT unnest(CAST($fit_nos AS INTEGER[])));
