-- Fragment: the age band of the rider of `fits` on the day of the fit, by years of the calendar.
CASE
    WHEN year(fits.session_date) - fits.birth_year < 30 THEN 'under 30'
    WHEN year(fits.session_date) - fits.birth_year < 45 THEN '30 to 44'
    WHEN year(fits.session_date) - fits.birth_year < 60 THEN '45 to 59'
    WHEN fits.birth_year IS NOT NULL THEN '60 and over'
END
