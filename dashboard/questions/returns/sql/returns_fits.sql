-- Answers: what became of each fit's follow-up. Grain and key: one row a session, numbered by date. Inputs: mart.fits.
-- end_code: 0 open (censored at the data's last date), 1 attended, 2 cancelled or missed for good; days: from the fit to that
-- end. The exports hold no day of a cancellation: a booking that came to nothing ends on the day it was due.
-- kept_code: the setup at the follow-up, 1 all, 2 some, 3 none, 0 not told.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    coalesce(fits.booked_on = fits.session_date, false) AS has_booked_same_day,
    {asks_follow_up} AS asks_follow_up,
    {asks_follow_up} AND {window_closed} AS is_followable,
    {has_returned} AS has_returned,
    CASE
        WHEN fits.attended_on IS NOT NULL THEN 1
        WHEN fits.booked_on IS NULL OR fits.has_open_booking THEN 0
        ELSE 2
    END AS end_code,
    greatest(
        0,
        CASE
            WHEN fits.attended_on IS NOT NULL THEN fits.attended_on
            WHEN fits.booked_on IS NULL OR fits.has_open_booking THEN CAST($as_of AS DATE)
            ELSE least(fits.last_due_on, CAST($as_of AS DATE))
        END - fits.session_date
    ) AS days,
    coalesce(list_position(['all', 'some', 'none'], fits.setup_kept), 0) AS kept_code,
    fits.satisfaction AS satisfaction_points,
    fits.pain AS pain_points
FROM mart.fits AS fits
WHERE {fits_selected}
ORDER BY fits.fit_no;
