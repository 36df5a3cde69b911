-- Answers: what the rules ask of a whole fit, and its outcomes. Grain and key: one row a session (fit, numbered by date).
-- Inputs: mart.fits, mart.capture_facts, core.fit_sessions. nearer_neutral_deg, less_sway_mm: mean over both knees, arrival less
-- departure, |tilt| for the first; empty where a knee was not recorded at both ends.
WITH ends AS (
    SELECT
        session_id,
        max(knee_tilt_deg) FILTER (WHERE is_arrival AND side = 'left') AS tilt_left_deg,
        max(knee_tilt_deg) FILTER (WHERE is_arrival AND side = 'right') AS tilt_right_deg,
        max(knee_offset_mm) FILTER (WHERE is_arrival AND side = 'left') AS offset_left_mm,
        max(knee_offset_mm) FILTER (WHERE is_arrival AND side = 'right') AS offset_right_mm,
        avg(abs(knee_tilt_deg)) FILTER (WHERE is_arrival) AS off_neutral_arrival_deg,
        avg(abs(knee_tilt_deg)) FILTER (WHERE NOT is_arrival) AS off_neutral_departure_deg,
        avg(knee_sway_mm) FILTER (WHERE is_arrival) AS sway_arrival_mm,
        avg(knee_sway_mm) FILTER (WHERE NOT is_arrival) AS sway_departure_mm,
        count(knee_tilt_deg) AS n_tilts,
        count(knee_sway_mm) AS n_sways
    FROM mart.capture_facts
    WHERE is_arrival OR is_departure
    GROUP BY session_id
)

SELECT
    row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    fits.session_id,
    fits.fitter_id,
    CAST(fits.session_date AS DATE) AS session_date,
    strftime(fits.session_date, '%Y-%m-01') AS month,
    sessions.sit_bone_width_mm,
    sessions.saddle_width_mm,
    sessions.saddle_condition,
    ends.tilt_left_deg,
    ends.tilt_right_deg,
    ends.offset_left_mm,
    ends.offset_right_mm,
    ends.off_neutral_arrival_deg,
    CASE WHEN ends.n_tilts = 4 THEN ends.off_neutral_arrival_deg - ends.off_neutral_departure_deg END AS nearer_neutral_deg,
    ends.sway_arrival_mm,
    CASE WHEN ends.n_sways = 4 THEN ends.sway_arrival_mm - ends.sway_departure_mm END AS less_sway_mm,
    fits.comfort_arrival,
    fits.comfort_departure - fits.comfort_arrival AS comfort_gained_points
FROM mart.fits AS fits
INNER JOIN core.fit_sessions AS sessions ON sessions.session_id = fits.session_id
LEFT JOIN ends ON ends.session_id = fits.session_id
WHERE {fits_selected}
ORDER BY fit;
