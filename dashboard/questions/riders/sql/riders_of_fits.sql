-- Answers: whose fits these are. Grain and key: one row a session (session_id). Inputs: mart.fits.
-- fitter: whose fits alone are looked at; all where it is empty.
SELECT fits.session_id, fits.rider_id
FROM mart.fits AS fits
WHERE
    list_contains(CAST($sessions AS VARCHAR[]), fits.session_id)
    AND ($fitter IS NULL OR fits.fitter_id = CAST($fitter AS VARCHAR));
