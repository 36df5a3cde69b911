-- Answers: each rider of the selected fits, the newest fit first. Grain and key: one row a rider (rider_id).
-- Inputs: mart.fits, mart.capture_facts, core.follow_ups. rider: number in the order of ids, from 0. Tilt is that of the departure
-- of the rider's last fit with a capture. overdue_on, due_on: the earliest open booking past its day, and ahead of it.
WITH chosen AS MATERIALIZED (
    SELECT fits.session_id, fits.rider_id, fits.studio_id, fits.session_date, fits.n_captures, fits.departure_no, fits.attended_on
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

riders AS (
    SELECT
        rider_id,
        dense_rank() OVER (ORDER BY rider_id) - 1 AS rider,
        string_agg(DISTINCT studio_id, ', ' ORDER BY studio_id) AS studios,
        count(*) AS n_fits,
        min(session_date) AS first_date,
        max(session_date) AS last_date
    FROM chosen
    GROUP BY rider_id
),

last_fits AS (
    SELECT rider_id, session_id, departure_no
    FROM chosen
    WHERE n_captures > 0
    QUALIFY row_number() OVER (PARTITION BY rider_id ORDER BY session_date DESC, session_id DESC) = 1
),

ends AS (
    SELECT
        last_fits.rider_id,
        max(facts.knee_tilt_deg) FILTER (WHERE facts.side = 'left') AS tilt_left_deg,
        max(facts.knee_tilt_deg) FILTER (WHERE facts.side = 'right') AS tilt_right_deg
    FROM last_fits
    INNER JOIN mart.capture_facts AS facts
        ON facts.session_id = last_fits.session_id AND facts.capture_no = last_fits.departure_no
    GROUP BY last_fits.rider_id
),

bookings AS (
    SELECT
        chosen.rider_id,
        min(bookings.due_on) FILTER (
            WHERE bookings.state = 'open' AND chosen.attended_on IS NULL AND bookings.due_on < CAST($as_of AS DATE)
        ) AS overdue_on,
        min(bookings.due_on) FILTER (
            WHERE bookings.state = 'open' AND chosen.attended_on IS NULL AND bookings.due_on >= CAST($as_of AS DATE)
        ) AS due_on,
        arg_max(chosen.attended_on IS NOT NULL, (chosen.session_date, chosen.session_id)) AS has_returned
    FROM chosen
    INNER JOIN core.follow_ups AS bookings ON bookings.session_id = chosen.session_id
    GROUP BY chosen.rider_id
)

SELECT
    riders.rider_id,
    riders.rider,
    riders.studios,
    riders.n_fits,
    riders.first_date,
    riders.last_date,
    ends.tilt_left_deg,
    ends.tilt_right_deg,
    ends.tilt_right_deg - ends.tilt_left_deg AS side_difference_deg,
    CASE
        WHEN bookings.overdue_on IS NOT NULL THEN 'overdue'
        WHEN bookings.due_on IS NOT NULL THEN 'due'
        WHEN bookings.has_returned THEN 'returned'
        WHEN bookings.rider_id IS NOT NULL THEN 'missed'
        ELSE 'none'
    END AS follow_up,
    coalesce(bookings.overdue_on, bookings.due_on) AS due_on
FROM riders
LEFT JOIN ends ON ends.rider_id = riders.rider_id
LEFT JOIN bookings ON bookings.rider_id = riders.rider_id
ORDER BY riders.last_date DESC, riders.rider_id;
