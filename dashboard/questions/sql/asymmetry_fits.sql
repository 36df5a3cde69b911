-- Answers: both knees of each selected fit at arrival and departure. Grain and key: one row a session (fit, numbered by date).
-- Inputs: mart.capture_facts, mart.fits. is_first: the rider's first session; high_sway_mm: the studio's own quantile of all its
-- captures; departure is empty where the session holds one capture only.
WITH high AS (
    SELECT fits.studio_id, quantile_cont(facts.knee_sway_mm, $knee_high_sway_quantile) AS high_sway_mm
    FROM mart.capture_facts AS facts
    INNER JOIN mart.fits AS fits ON fits.session_id = facts.session_id
    GROUP BY fits.studio_id
),

ends AS (
    SELECT
        session_id,
        max(knee_tilt_deg) FILTER (WHERE is_arrival AND side = 'left') AS tilt_left_arrival,
        max(knee_tilt_deg) FILTER (WHERE is_arrival AND side = 'right') AS tilt_right_arrival,
        max(knee_sway_mm) FILTER (WHERE is_arrival AND side = 'left') AS sway_left_arrival,
        max(knee_sway_mm) FILTER (WHERE is_arrival AND side = 'right') AS sway_right_arrival,
        max(knee_offset_mm) FILTER (WHERE is_arrival AND side = 'left') AS offset_left_arrival,
        max(knee_offset_mm) FILTER (WHERE is_arrival AND side = 'right') AS offset_right_arrival,
        max(knee_tilt_deg) FILTER (WHERE NOT is_arrival AND side = 'left') AS tilt_left_departure,
        max(knee_tilt_deg) FILTER (WHERE NOT is_arrival AND side = 'right') AS tilt_right_departure,
        max(knee_sway_mm) FILTER (WHERE NOT is_arrival AND side = 'left') AS sway_left_departure,
        max(knee_sway_mm) FILTER (WHERE NOT is_arrival AND side = 'right') AS sway_right_departure,
        max(knee_offset_mm) FILTER (WHERE NOT is_arrival AND side = 'left') AS offset_left_departure,
        max(knee_offset_mm) FILTER (WHERE NOT is_arrival AND side = 'right') AS offset_right_departure
    FROM mart.capture_facts
    WHERE is_arrival OR is_departure
    GROUP BY session_id
)

SELECT
    row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    fits.session_id,
    fits.visit_no = 1 AS is_first,
    high.high_sway_mm,
    ends.tilt_left_arrival,
    ends.tilt_right_arrival,
    ends.sway_left_arrival,
    ends.sway_right_arrival,
    ends.offset_left_arrival,
    ends.offset_right_arrival,
    ends.tilt_left_departure,
    ends.tilt_right_departure,
    ends.sway_left_departure,
    ends.sway_right_departure,
    ends.offset_left_departure,
    ends.offset_right_departure
FROM mart.fits AS fits
LEFT JOIN ends ON ends.session_id = fits.session_id
LEFT JOIN high ON high.studio_id = fits.studio_id
WHERE {fits_selected}
ORDER BY fit;
