-- Answers: riders with a fit whose id holds a text, without case; ids that begin with it first. Grain: one row a rider, $most at most.
-- Inputs: mart.fits. fitter: whose fits alone are looked at; all where it is empty.
SELECT fits.rider_id
FROM mart.fits AS fits
WHERE
    contains(lower(fits.rider_id), lower(CAST($text AS VARCHAR)))
    AND ($fitter IS NULL OR fits.fitter_id = CAST($fitter AS VARCHAR))
GROUP BY fits.rider_id
ORDER BY starts_with(lower(fits.rider_id), lower(CAST($text AS VARCHAR))) DESC, fits.rider_id
LIMIT CAST($most AS INTEGER);
