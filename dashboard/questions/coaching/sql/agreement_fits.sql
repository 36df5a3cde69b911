-- Answers: what the rules ask of a whole fit, and its outcomes. Grain and key: one row a session (fit_no, numbered by date).
-- Inputs: mart.fits, mart.feet, mart.ratings. has_departure: two captures or more; saddle_condition: its place in the catalogue's
-- codes, 0 not recorded. comfort_came, pain_came: 2 better by the smallest change of a rating or more, 1 not better where there was
-- room for it or it got worse, 0 no room or not rated at both ends; pain of the worst part that was rated at both.
WITH pain AS (
    SELECT fit_no, max(arrival) AS arrival, max(departure) AS departure
    FROM mart.ratings
    WHERE topic = 'pain' AND arrival IS NOT NULL AND departure IS NOT NULL
    GROUP BY fit_no
)

SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    fits.fitter_no AS fitter,
    fits.session_date,
    fits.n_captures > 1 AS has_departure,
    fits.sit_bone_width_mm,
    fits.saddle_width_mm,
    {saddle_condition_code} AS saddle_condition,
    left_foot.tilt_arrival_deg AS tilt_left_deg,
    right_foot.tilt_arrival_deg AS tilt_right_deg,
    left_foot.offset_arrival_mm AS offset_left_mm,
    right_foot.offset_arrival_mm AS offset_right_mm,
    left_foot.sway_arrival_mm AS sway_left_mm,
    right_foot.sway_arrival_mm AS sway_right_mm,
    left_foot.tilt_departure_deg AS tilt_left_departure_deg,
    right_foot.tilt_departure_deg AS tilt_right_departure_deg,
    left_foot.sway_departure_mm AS sway_left_departure_mm,
    right_foot.sway_departure_mm AS sway_right_departure_mm,
    fits.comfort_arrival,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points,
    CASE
        WHEN fits.comfort_departure - fits.comfort_arrival >= $agreement_smallest_rating_points THEN 2
        WHEN
            fits.comfort_arrival <= 10 - $agreement_smallest_rating_points
            OR fits.comfort_arrival - fits.comfort_departure >= $agreement_smallest_rating_points
            THEN (fits.comfort_departure IS NOT NULL)::TINYINT
        ELSE 0
    END::TINYINT AS comfort_came,
    CASE
        WHEN pain.arrival - pain.departure >= $agreement_smallest_rating_points THEN 2
        WHEN
            pain.arrival >= $agreement_smallest_rating_points
            OR pain.departure - pain.arrival >= $agreement_smallest_rating_points
            THEN 1
        ELSE 0
    END::TINYINT AS pain_came
FROM mart.fits AS fits
INNER JOIN mart.feet AS left_foot ON left_foot.fit_no = fits.fit_no AND left_foot.side = 'left'
INNER JOIN mart.feet AS right_foot ON right_foot.fit_no = fits.fit_no AND right_foot.side = 'right'
LEFT JOIN pain ON pain.fit_no = fits.fit_no
WHERE {fits_selected}
ORDER BY fits.fit_no;
