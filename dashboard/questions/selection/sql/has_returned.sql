-- Fragment: true for a row of `fits` (mart.fits) whose rider came back within the window.
coalesce(fits.attended_on <= fits.session_date + CAST($follow_up_returned_within_days AS INTEGER), false)
