-- Fragment: true for a row of `fits` (mart.fits) whose follow-up was booked in time.
coalesce(fits.booked_on <= fits.session_date + CAST($follow_up_booked_within_days AS INTEGER), false)
