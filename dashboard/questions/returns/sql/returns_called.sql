-- Answers: the follow-ups that could be called about, each with when it came on the list and whether its rider came. Grain and key: one row
-- a rider (rider_no): the first of the fits whose follow-up was not attended $landmark_days after it came on the list, on
-- $first (the first day on which anybody was called) or later.
-- since: the day due, or the last day for booking; came_on: attended, or the rider's next visit. Inputs: mart.fits.
WITH listed AS (
    SELECT
        fits.session_id,
        fits.rider_no,
        fits.fit_no,
        coalesce(fits.due_on, fits.session_date + CAST($follow_up_booked_within_days AS INTEGER)) AS since,
        coalesce(
            fits.attended_on,
            lead(fits.session_date) OVER (PARTITION BY fits.rider_no ORDER BY fits.fit_no)
        ) AS came_on,
        ({asks_follow_up} OR fits.due_on IS NOT NULL) AND {fits_selected} AS is_asked
    FROM mart.fits AS fits
),

landed AS (
    SELECT session_id, rider_no, fit_no, since, came_on, since + CAST($landmark_days AS INTEGER) AS landmark
    FROM listed
    WHERE is_asked AND landmark >= CAST($first AS DATE)
)

SELECT
    rider_no,
    session_id,
    since,
    landmark,
    coalesce(came_on <= landmark + CAST($follow_up_returned_within_days AS INTEGER), FALSE) AS has_come
FROM landed
WHERE
    (came_on IS NULL OR came_on > landmark)
    AND landmark + CAST($follow_up_returned_within_days AS INTEGER) <= CAST($as_of AS DATE)
QUALIFY row_number() OVER (PARTITION BY rider_no ORDER BY fit_no) = 1
ORDER BY rider_no;
