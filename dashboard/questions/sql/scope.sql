-- Answers: how much the selection holds. Grain: one row. Inputs: mart.fits.
SELECT
    count(*) AS n_fits,
    count(DISTINCT fits.rider_id) AS n_riders,
    min(fits.session_date) AS first_date,
    max(fits.session_date) AS last_date,
    list(DISTINCT fits.studio_id ORDER BY fits.studio_id) AS studios
FROM mart.fits AS fits
WHERE {fits_selected};
