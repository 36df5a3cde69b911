-- Fragment: true for a row of `fits` (mart.fits) whose days for booking a follow-up have passed by the data's last date. A
-- follow-up visit asks for no booking.
(
    fits.visit_kind <> 'follow_up'
    AND fits.session_date + CAST($follow_up_booked_within_days AS INTEGER) < CAST($as_of AS DATE)
)
