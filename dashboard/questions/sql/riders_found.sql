-- Answers: riders with a fit whose id holds a text, without case; ids that begin with it first. Grain: one row a rider, $most at most.
-- Inputs: mart.fits.
SELECT fits.rider_id
FROM mart.fits AS fits
WHERE contains(lower(fits.rider_id), lower(CAST($text AS VARCHAR)))
GROUP BY fits.rider_id
ORDER BY starts_with(lower(fits.rider_id), lower(CAST($text AS VARCHAR))) DESC, fits.rider_id
LIMIT CAST($most AS INTEGER);
