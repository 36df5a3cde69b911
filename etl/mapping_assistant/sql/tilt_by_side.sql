-- Answers what the knees of each side measure, as the first figures after mapping.
-- Grain: one row a side. Key: side.
SELECT
    side,
    count(knee_tilt_deg) AS n_tilts,
    avg(knee_tilt_deg) AS mean_tilt_deg,
    min(knee_tilt_deg) AS lowest_tilt_deg,
    max(knee_tilt_deg) AS highest_tilt_deg,
    avg(knee_sway_mm) AS mean_sway_mm
FROM core.knee_captures
GROUP BY side
ORDER BY side
