-- Answers: how complete the selected fits are. Grain: one row. Inputs: mart.fits, mart.captures.
WITH repeated AS (
    SELECT DISTINCT session_id
    FROM mart.captures
    WHERE is_repeat
)

SELECT
    count(*) AS n_fits,
    count(*) FILTER (WHERE fits.n_feet_examined = 2) AS n_examined,
    count(*) FILTER (WHERE fits.n_captures >= 2) AS n_recorded_twice,
    count(*) FILTER (WHERE fits.has_departure_bike) AS n_bike_measured,
    count(*) FILTER (WHERE repeated.session_id IS NOT NULL) AS n_repeated
FROM mart.fits AS fits
LEFT JOIN repeated ON repeated.session_id = fits.session_id
WHERE {fits_selected};
