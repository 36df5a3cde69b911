-- Answers: how complete the selected fits are. Grain: one row. Inputs: mart.fits, mart.captures.
SELECT
    count(*) AS n_fits,
    count(*) FILTER (WHERE fits.n_feet_examined = 2) AS n_examined,
    count(*) FILTER (WHERE fits.n_captures >= 2) AS n_recorded_twice,
    count(*) FILTER (WHERE fits.has_departure_bike) AS n_bike_measured,
    count(*) FILTER (WHERE fits.has_repeat) AS n_repeated
FROM (
    SELECT
        fits.n_feet_examined,
        fits.n_captures,
        fits.has_departure_bike,
        {has_repeat} AS has_repeat
    FROM mart.fits AS fits
    WHERE {fits_selected}
) AS fits;
