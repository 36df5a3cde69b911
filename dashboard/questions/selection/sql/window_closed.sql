-- Fragment: true for a row of `fits` (mart.fits) whose window to return has closed by the data's last date.
(fits.session_date + CAST($follow_up_returned_within_days AS INTEGER) < CAST($as_of AS DATE))
