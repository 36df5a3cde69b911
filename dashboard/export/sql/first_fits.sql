-- Answers: each rider's first fit as numbers: 1 and 0 for what is so and what is not.
-- Grain and key: one row a rider (rider_id), in that order. Inputs: mart.fits.
SELECT
    fits.rider_id,
    fits.session_date,
    coalesce(fits.sex = 'female', false)::DOUBLE AS share_female,
    coalesce(fits.sex = 'male', false)::DOUBLE AS share_male,
    coalesce(({age_band}) = 'under 30', false)::DOUBLE AS share_under_30,
    coalesce(({age_band}) = '30 to 44', false)::DOUBLE AS share_30_to_44,
    coalesce(({age_band}) = '45 to 59', false)::DOUBLE AS share_45_to_59,
    coalesce(({age_band}) = '60 and over', false)::DOUBLE AS share_60_and_over,
    coalesce(fits.riding = 'road', false)::DOUBLE AS share_road,
    coalesce(fits.riding = 'gravel', false)::DOUBLE AS share_gravel,
    coalesce(fits.riding = 'mountain', false)::DOUBLE AS share_mountain,
    coalesce(fits.riding = 'triathlon', false)::DOUBLE AS share_triathlon,
    coalesce(fits.riding = 'commuting', false)::DOUBLE AS share_commuting,
    coalesce(fits.riding = 'indoor', false)::DOUBLE AS share_indoor,
    fits.comfort_arrival,
    fits.comfort_departure,
    (fits.booked_on IS NOT NULL)::DOUBLE AS share_booked,
    (fits.attended_on IS NOT NULL)::DOUBLE AS share_attended
FROM mart.fits AS fits
WHERE fits.visit_no = 1 AND fits.session_date BETWEEN $date_from AND $date_to
ORDER BY fits.rider_id;
