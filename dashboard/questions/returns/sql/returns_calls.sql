-- Answers: where the follow-up of each selected fit stands today, of those that ask for one or have an open booking. Grain and key: one
-- row a session (session_id) that is over, due, booked or not_booked, with its earliest open booking; and one without ids for each
-- other state (state), with how many fits stand in it (n_fits). Inputs: mart.fits, core.follow_ups.
-- state: over, due, booked (open, by the day it is due); came (attended); closed (missed or cancelled, and none open); later (never
-- booked, and its rider has come since); to_book, not_booked, left_off (never booked: the days for booking not yet past, past, long
-- past). since: the day on which the follow-up was due, or should have been booked. comfort_arrival, _departure: points of 10, at the fit.
WITH open_bookings AS (
    SELECT
        session_id,
        min(due_on) AS due_on,
        arg_min(follow_up_id, due_on) AS follow_up_id,
        arg_min(booked_on, due_on) AS booked_on
    FROM core.follow_ups
    WHERE state = 'open'
    GROUP BY session_id
),

last_visits AS (
    SELECT rider_no, max(fit_no) AS last_fit_no
    FROM mart.fits
    GROUP BY rider_no
),

followed AS (
    SELECT
        fits.session_id,
        fits.rider_id,
        fits.studio_id,
        fits.fitter_id,
        fits.session_date,
        open_bookings.follow_up_id,
        open_bookings.booked_on,
        open_bookings.due_on,
        fits.comfort_arrival,
        fits.comfort_departure,
        fits.session_date + CAST($follow_up_booked_within_days AS INTEGER) AS book_by,
        CASE
            WHEN fits.attended_on IS NOT NULL THEN 'came'
            WHEN open_bookings.due_on < CAST($today AS DATE) THEN 'over'
            WHEN open_bookings.due_on = CAST($today AS DATE) THEN 'due'
            WHEN open_bookings.due_on IS NOT NULL THEN 'booked'
            WHEN fits.booked_on IS NOT NULL THEN 'closed'
            WHEN last_visits.last_fit_no > fits.fit_no THEN 'later'
            WHEN book_by >= CAST($today AS DATE) THEN 'to_book'
            WHEN book_by + CAST($follow_up_called_for_days AS INTEGER) >= CAST($today AS DATE) THEN 'not_booked'
            ELSE 'left_off'
        END AS state
    FROM mart.fits AS fits
    INNER JOIN last_visits ON last_visits.rider_no = fits.rider_no
    LEFT JOIN open_bookings ON open_bookings.session_id = fits.session_id
    WHERE ({asks_follow_up} OR open_bookings.due_on IS NOT NULL) AND {fits_selected}
)

SELECT
    session_id,
    rider_id,
    studio_id,
    fitter_id,
    session_date,
    follow_up_id,
    booked_on,
    due_on,
    comfort_arrival,
    comfort_departure,
    coalesce(due_on, book_by) AS since,
    state,
    1 AS n_fits
FROM followed
WHERE state IN ('over', 'due', 'booked', 'not_booked')
UNION ALL
SELECT NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, state, count(*) AS n_fits
FROM followed
WHERE state NOT IN ('over', 'due', 'booked', 'not_booked')
GROUP BY state
ORDER BY since, session_id;
