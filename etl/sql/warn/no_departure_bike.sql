-- Adds: a warning for each fit that ends without a record of the bicycle, where any is recorded. Grain: one row a session.
-- Inputs: mart.fits, core.bike_measures.
INSERT INTO raw.warnings
SELECT
    'no_departure_bike', 'fit_sessions', 'session_id', session_id, session_id, NULL,
    'captured, yet no departure row in bike_measures. Load the measures of the bicycle as it left, if they were taken.'
FROM mart.fits
WHERE n_captures > 0 AND NOT has_departure_bike AND EXISTS (SELECT 1 FROM core.bike_measures);
