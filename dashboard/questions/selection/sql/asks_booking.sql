-- Fragment: true for a row of `fits` (mart.fits) that asks for a follow-up and whose days for booking it have passed by the data's
-- last date.
(
    fits.visit_kind <> 'follow_up'
    AND fits.session_date + CAST($follow_up_booked_within_days AS INTEGER) < CAST($as_of AS DATE)
)
