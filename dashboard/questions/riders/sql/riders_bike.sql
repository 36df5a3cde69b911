-- Answers: the bicycle of the selected fits at arrival and departure. Grain and key: one row a session and measure.
-- Inputs: mart.fits, core.bike_measures.
SELECT
    measures.session_id,
    fits.session_date,
    measures.measure,
    max(measures.value_mm) FILTER (WHERE measures.moment = 'arrival') AS arrival_mm,
    max(measures.value_mm) FILTER (WHERE measures.moment = 'departure') AS departure_mm,
    departure_mm - arrival_mm AS change_mm
FROM mart.fits AS fits
INNER JOIN core.bike_measures AS measures ON measures.session_id = fits.session_id
WHERE {fits_selected}
GROUP BY measures.session_id, fits.session_date, measures.measure
ORDER BY fits.session_date, measures.session_id, measures.measure;
