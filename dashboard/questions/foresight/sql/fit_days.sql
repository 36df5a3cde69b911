-- Answers: when and by whom each fit was made. Grain and key: one row a fit (fit), in its order. Input: mart.fits.
SELECT
    fit_no AS fit,
    session_date,
    fitter_id
FROM mart.fits
ORDER BY fit_no;
