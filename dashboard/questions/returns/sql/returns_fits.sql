-- Answers: what became of each fit's follow-up, and what was known of its rider when he left. Grain and key: one row a session that
-- asks for a follow-up, numbered by date. Inputs: mart.fits, mart.feet, mart.ratings.
-- end_code: 0 open (censored at the data's last date), 1 attended, 2 cancelled or missed for good; days: from the fit to that
-- end. The exports hold no day of a cancellation: a booking that came to nothing ends on the day it was due.
-- kept_code: the setup at the follow-up, 1 all, 2 some, 3 none, 0 not told. Ratings: means over the rated parts of the body.
WITH rated AS (
    SELECT
        ratings.fit_no,
        avg(ratings.arrival) FILTER (WHERE ratings.topic = 'pain') AS pain_arrival,
        avg(ratings.departure) FILTER (WHERE ratings.topic = 'pain') AS pain_departure,
        avg(ratings.arrival) FILTER (WHERE ratings.topic = 'comfort') AS comfort_arrival,
        avg(ratings.departure) FILTER (WHERE ratings.topic = 'comfort') AS comfort_departure
    FROM mart.ratings AS ratings
    WHERE ratings.topic IN ('pain', 'comfort')
    GROUP BY ratings.fit_no
)

SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    coalesce(fits.booked_on = fits.session_date, false) AS has_booked_same_day,
    {window_closed} AS is_followable,
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
    fits.pain AS pain_points,
    fits.visit_kind = 'refit' AS is_refit,
    left_foot.tilt_arrival_deg::FLOAT AS tilt_left_arrival,
    right_foot.tilt_arrival_deg::FLOAT AS tilt_right_arrival,
    left_foot.tilt_departure_deg::FLOAT AS tilt_left_departure,
    right_foot.tilt_departure_deg::FLOAT AS tilt_right_departure,
    left_foot.sway_departure_mm::FLOAT AS sway_left_departure,
    right_foot.sway_departure_mm::FLOAT AS sway_right_departure,
    rated.pain_arrival::FLOAT AS pain_arrival,
    rated.pain_departure::FLOAT AS pain_departure,
    rated.comfort_arrival::FLOAT AS comfort_arrival,
    rated.comfort_departure::FLOAT AS comfort_departure
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
LEFT JOIN rated ON rated.fit_no = fits.fit_no
WHERE {asks_follow_up} AND {fits_selected}
ORDER BY fits.fit_no;
