-- Answers: what became of each fit's follow-up. Grain and key: one row a session, numbered by date. Inputs: mart.fits,
-- core.follow_ups. end_code: 0 open (censored at the data's last date), 1 attended, 2 cancelled or missed for good; days: from
-- the fit to that end. The exports hold no day of a cancellation: a booking that came to nothing ends on the day it was due.
WITH bookings AS (
    SELECT
        session_id,
        min(attended_on) FILTER (WHERE state = 'attended') AS attended_on,
        bool_or(state = 'open') AS has_open,
        max(due_on) AS last_due_on,
        arg_min(setup_kept, attended_on) FILTER (WHERE state = 'attended') AS setup_kept,
        arg_min(satisfaction, attended_on) FILTER (WHERE state = 'attended') AS satisfaction_points,
        arg_min(pain, attended_on) FILTER (WHERE state = 'attended') AS pain_points
    FROM core.follow_ups
    GROUP BY session_id
),

ended AS (
    SELECT
        fits.*,
        bookings.setup_kept,
        bookings.satisfaction_points,
        bookings.pain_points,
        CASE
            WHEN bookings.attended_on IS NOT NULL THEN 1
            WHEN bookings.session_id IS NULL OR bookings.has_open THEN 0
            ELSE 2
        END AS end_code,
        bookings.last_due_on
    FROM mart.fits AS fits
    LEFT JOIN bookings ON bookings.session_id = fits.session_id
    WHERE {fits_selected}
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    coalesce(fits.booked_on = fits.session_date, false) AS has_booked_same_day,
    {asks_follow_up} AS asks_follow_up,
    {asks_follow_up} AND {window_closed} AS is_followable,
    {has_returned} AS has_returned,
    fits.end_code,
    greatest(
        0,
        CASE fits.end_code
            WHEN 1 THEN fits.attended_on
            WHEN 2 THEN least(fits.last_due_on, CAST($as_of AS DATE))
            ELSE CAST($as_of AS DATE)
        END - fits.session_date
    ) AS days,
    fits.setup_kept,
    fits.satisfaction_points,
    fits.pain_points
FROM ended AS fits
ORDER BY fits.session_date, fits.session_id;
