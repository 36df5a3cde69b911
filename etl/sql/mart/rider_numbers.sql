-- Adds to mart.fits the riders' numbers where they are others than before, since a new rider moves those after. Grain: one row a fit.
-- Inputs: mart.fits, mart.fit_numbers.
UPDATE mart.fits AS fits
SET rider_no = numbers.rider_no
FROM mart.fit_numbers AS numbers
WHERE numbers.fit_no = fits.fit_no AND numbers.rider_no <> fits.rider_no;
