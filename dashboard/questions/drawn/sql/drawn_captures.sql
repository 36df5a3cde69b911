-- Answers: the captures of the drawn knees, with the setup as it stood. Grain: one knee in one capture; key: session_id, side, capture_no.
-- Inputs: mart.captures. Parameters: sessions.
SELECT session_id, side, capture_no, rider_id, insole_level, total_shims, stance_mm, knee_tilt_deg, knee_sway_mm
FROM mart.captures
WHERE session_id IN (SELECT unnest($sessions))
ORDER BY session_id, side, capture_no;
