-- Answers: each rider of the selected fits, the newest fit first. Grain and key: one row a rider (rider_id).
-- Inputs: mart.fits, mart.feet, core.follow_ups. rider: number in the order of ids, from 0. Tilt is that of the departure
-- of the rider's last fit with a capture. due_on: of the earliest open booking; follow_up tells it by today's date.
-- Riders and fits are joined by their numbers: rider_no follows the ids, fit_no the date and the id of the session.
WITH chosen AS MATERIALIZED (
    SELECT
        fits.fit_no,
        fits.session_id,
        fits.rider_no,
        fits.rider_id,
        fits.studio_id,
        fits.session_date,
        fits.n_captures,
        fits.booked_on,
        fits.attended_on,
        fits.has_open_booking
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

riders AS MATERIALIZED (
    SELECT
        rider_no,
        min(rider_id) AS rider_id,
        min(studio_id) AS first_studio,
        max(studio_id) AS last_studio,
        count(*) AS n_fits,
        min(session_date) AS first_date,
        max(session_date) AS last_date,
        max(fit_no) FILTER (WHERE n_captures > 0) AS last_fit_no,
        bool_or(booked_on IS NOT NULL) AS has_booked,
        arg_max(attended_on IS NOT NULL, fit_no) FILTER (WHERE booked_on IS NOT NULL) AS has_returned
    FROM chosen
    GROUP BY rider_no
),

-- Most riders know one studio, whose name needs no list.
studios AS (
    SELECT chosen.rider_no, string_agg(DISTINCT chosen.studio_id, ', ' ORDER BY chosen.studio_id) AS studios
    FROM chosen
    INNER JOIN riders ON riders.rider_no = chosen.rider_no
    WHERE riders.first_studio <> riders.last_studio
    GROUP BY chosen.rider_no
),

open_bookings AS (
    SELECT chosen.rider_no, min(bookings.due_on) AS due_on
    FROM chosen
    INNER JOIN core.follow_ups AS bookings ON bookings.session_id = chosen.session_id
    WHERE bookings.state = 'open' AND chosen.has_open_booking AND chosen.attended_on IS NULL
    GROUP BY chosen.rider_no
)

SELECT
    riders.rider_id,
    riders.rider_no,
    row_number() OVER (ORDER BY riders.rider_no) - 1 AS rider,
    coalesce(studios.studios, riders.first_studio) AS studios,
    riders.n_fits,
    riders.first_date,
    riders.last_date,
    left_foot.tilt_departure_deg AS tilt_left_deg,
    right_foot.tilt_departure_deg AS tilt_right_deg,
    right_foot.tilt_departure_deg - left_foot.tilt_departure_deg AS side_difference_deg,
    CASE
        WHEN open_bookings.due_on < CAST($today AS DATE) THEN 'over'
        WHEN open_bookings.due_on = CAST($today AS DATE) THEN 'due'
        WHEN open_bookings.due_on IS NOT NULL THEN 'booked'
        WHEN riders.has_returned THEN 'came'
        WHEN riders.has_booked THEN 'closed'
        ELSE 'none'
    END AS follow_up,
    open_bookings.due_on
FROM riders
LEFT JOIN studios ON studios.rider_no = riders.rider_no
LEFT JOIN open_bookings ON open_bookings.rider_no = riders.rider_no
LEFT JOIN mart.feet AS left_foot ON left_foot.fit_no = riders.last_fit_no AND left_foot.side = 'left'
LEFT JOIN mart.feet AS right_foot ON right_foot.fit_no = riders.last_fit_no AND right_foot.side = 'right'
ORDER BY riders.last_date DESC, riders.rider_id;
