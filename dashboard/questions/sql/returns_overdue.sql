-- Answers: bookings that are open past the day they were due. Grain and key: one row a booking (follow_up_id), longest first.
-- Inputs: core.follow_ups, mart.fits.
SELECT
    follow_ups.follow_up_id,
    fits.session_id,
    fits.rider_id,
    follow_ups.due_on,
    CAST($as_of AS DATE) - follow_ups.due_on AS days_over
FROM core.follow_ups AS follow_ups
INNER JOIN mart.fits AS fits ON fits.session_id = follow_ups.session_id
WHERE {fits_selected} AND follow_ups.state = 'open' AND follow_ups.due_on < CAST($as_of AS DATE) AND fits.attended_on IS NULL
ORDER BY days_over DESC, follow_ups.follow_up_id;
