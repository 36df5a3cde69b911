-- Answers: which of some ids are those of riders with fits. Grain and key: one row a rider (rider_id). Inputs: mart.fits.
-- fitter: whose fits alone the reader may see; all where it is empty.
SELECT DISTINCT rider_id
FROM mart.fits
WHERE rider_id IN (SELECT unnest($riders)) AND ($fitter IS NULL OR fitter_id = $fitter)
ORDER BY rider_id
