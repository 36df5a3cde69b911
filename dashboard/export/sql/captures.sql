-- Makes: out_captures, each knee in each capture of the fits of the selection, with the setup as it stood and the exam of its foot.
-- Grain and key: one row a session, capture and side (session_id, capture_no, side). Inputs: mart.captures, out_fits.
CREATE OR REPLACE TEMP TABLE out_captures AS
SELECT
    captures.session_id,
    captures.capture_no,
    captures.side,
    fits.rider_id,
    captures.arch_height,
    captures.arch_collapse,
    captures.heel_posture,
    captures.forefoot_angle_deg,
    captures.squat_knee_path,
    captures.capture_order,
    captures.is_arrival,
    captures.is_departure,
    captures.is_repeat,
    captures.insole_level,
    captures.total_shims,
    captures.shim_place,
    captures.stance_mm,
    captures.stance_by,
    captures.knee_tilt_deg,
    captures.knee_sway_mm,
    captures.knee_offset_mm
FROM mart.captures AS captures
INNER JOIN out_fits AS fits ON fits.session_id = captures.session_id
WHERE {captures_selected}
ORDER BY captures.session_id, captures.capture_no, captures.side;
