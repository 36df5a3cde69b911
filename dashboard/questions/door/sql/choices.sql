-- Answers: what the studio's own data offer to choose from. Grain: one row. Inputs: mart.fits.
SELECT
    list(DISTINCT studio_id ORDER BY studio_id) AS studio,
    list(DISTINCT fitter_id ORDER BY fitter_id) AS fitter,
    list(DISTINCT bike_kind ORDER BY bike_kind) FILTER (WHERE bike_kind IS NOT NULL) AS bike_kind,
    min(session_date) AS first_date,
    max(session_date) AS last_date
FROM mart.fits;
