-- Answers: each fit's outcomes, what its rider came with (case mix), and what was done (process). Grain and key: one row a
-- session. Inputs: mart.fits, mart.capture_facts, mart.knees, core.foot_exams. Exam columns are the share of the rider's two feet.
WITH recorded AS (
    SELECT
        session_id,
        avg(knee_tilt_deg) FILTER (WHERE is_arrival) AS tilt_arrival_deg,
        avg(abs(knee_tilt_deg)) FILTER (WHERE is_arrival) AS off_neutral_arrival_deg,
        avg(knee_sway_mm) FILTER (WHERE is_arrival) AS sway_arrival_mm,
        abs(
            max(knee_tilt_deg) FILTER (WHERE is_arrival AND side = 'right')
            - max(knee_tilt_deg) FILTER (WHERE is_arrival AND side = 'left')
        ) AS side_difference_arrival_deg,
        abs(
            max(knee_tilt_deg) FILTER (WHERE is_departure AND side = 'right')
            - max(knee_tilt_deg) FILTER (WHERE is_departure AND side = 'left')
        ) AS side_difference_departure_deg
    FROM mart.capture_facts
    GROUP BY session_id
),

changed AS (
    SELECT session_id, avg(abs(tilt_arrival_deg) - abs(tilt_departure_deg)) AS nearer_neutral_deg
    FROM mart.knees
    GROUP BY session_id
),

examined AS (
    SELECT
        session_id,
        count(*) FILTER (WHERE arch_height = 'low') / 2 AS arch_low,
        count(*) FILTER (WHERE arch_height = 'high') / 2 AS arch_high,
        count(*) FILTER (WHERE arch_collapse = 'some') / 2 AS collapse_some,
        count(*) FILTER (WHERE arch_collapse = 'marked') / 2 AS collapse_marked,
        count(*) FILTER (WHERE heel_posture = 'inverted') / 2 AS heel_inverted,
        count(*) FILTER (WHERE heel_posture = 'everted') / 2 AS heel_everted,
        count(*) FILTER (WHERE squat_knee_path = 'inward') / 2 AS squat_inward,
        count(*) FILTER (WHERE squat_knee_path = 'outward') / 2 AS squat_outward,
        avg(forefoot_angle_deg) AS forefoot_angle_deg
    FROM core.foot_exams
    GROUP BY session_id
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    fits.fitter_id,
    fits.visit_kind,
    coalesce(fits.bike_kind, 'not recorded') AS bike_kind,
    recorded.tilt_arrival_deg,
    recorded.off_neutral_arrival_deg,
    recorded.side_difference_arrival_deg,
    recorded.sway_arrival_mm,
    coalesce(examined.arch_low, 0) AS arch_low,
    coalesce(examined.arch_high, 0) AS arch_high,
    coalesce(examined.collapse_some, 0) AS collapse_some,
    coalesce(examined.collapse_marked, 0) AS collapse_marked,
    coalesce(examined.heel_inverted, 0) AS heel_inverted,
    coalesce(examined.heel_everted, 0) AS heel_everted,
    coalesce(examined.squat_inward, 0) AS squat_inward,
    coalesce(examined.squat_outward, 0) AS squat_outward,
    examined.forefoot_angle_deg,
    recorded.side_difference_departure_deg,
    changed.nearer_neutral_deg,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points,
    {asks_follow_up} AND {window_closed} AS is_followable,
    {has_returned} AS has_returned,
    fits.n_feet_examined = 2 AS is_examined,
    fits.has_departure_bike,
    {asks_booking} AS asks_booking,
    {has_booked} AS has_booked,
    {has_repeat} AS has_repeat
FROM mart.fits AS fits
LEFT JOIN recorded ON recorded.session_id = fits.session_id
LEFT JOIN changed ON changed.session_id = fits.session_id
LEFT JOIN examined ON examined.session_id = fits.session_id
WHERE {fits_selected}
ORDER BY fits.session_id;
