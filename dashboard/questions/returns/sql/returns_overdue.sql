-- Answers: bookings that are open past the day they were due, by the data's last date (as_of) or by today's clock. Grain and
-- key: one row a booking (follow_up_id), longest first. Inputs: core.follow_ups, mart.fits.
-- days_over: NULL where the booking was not over by as_of; days_over_today: NULL where the clock is behind the data.
SELECT
    follow_ups.follow_up_id,
    fits.session_id,
    fits.rider_id,
    follow_ups.due_on,
    CASE WHEN follow_ups.due_on < CAST($as_of AS DATE) THEN CAST($as_of AS DATE) - follow_ups.due_on END AS days_over,
    CASE WHEN CAST($today AS DATE) >= CAST($as_of AS DATE) THEN CAST($today AS DATE) - follow_ups.due_on END AS days_over_today
FROM core.follow_ups AS follow_ups
INNER JOIN mart.fits AS fits ON fits.session_id = follow_ups.session_id
WHERE
    {fits_selected} AND follow_ups.state = 'open' AND fits.attended_on IS NULL
    AND follow_ups.due_on < greatest(CAST($as_of AS DATE), CAST($today AS DATE))
ORDER BY follow_ups.due_on, follow_ups.follow_up_id;
