-- Answers: whose fits these are. Grain and key: one row a session (session_id). Inputs: mart.fits.
SELECT fits.session_id, fits.rider_id
FROM mart.fits AS fits
WHERE list_contains(CAST($sessions AS VARCHAR[]), fits.session_id);
