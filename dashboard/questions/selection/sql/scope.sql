-- Answers: how much the selection holds. Grain: one row. Inputs: mart.fits.
WITH selected AS (
    SELECT fits.rider_no, fits.session_date, fits.studio_id
    FROM mart.fits AS fits
    WHERE {fits_selected}
)

SELECT
    count(*) AS n_fits,
    count(DISTINCT rider_no) AS n_riders,
    min(session_date) AS first_date,
    max(session_date) AS last_date,
    (SELECT list(studio_id ORDER BY studio_id) FROM (SELECT DISTINCT studio_id FROM selected)) AS studios
FROM selected;
