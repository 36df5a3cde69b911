-- Answers: each booking of the selected fits. Grain and key: one row a booking (follow_up_id). Inputs: mart.fits, core.follow_ups.
SELECT
    bookings.session_id,
    bookings.booked_on,
    bookings.due_on,
    bookings.state,
    bookings.attended_on,
    bookings.returned_session_id,
    bookings.setup_kept,
    bookings.satisfaction,
    bookings.pain,
    bookings.change_rating
FROM mart.fits AS fits
INNER JOIN core.follow_ups AS bookings ON bookings.session_id = fits.session_id
WHERE {fits_selected}
ORDER BY fits.session_date, bookings.booked_on, bookings.follow_up_id;
