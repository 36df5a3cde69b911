-- Makes: out_knees, each knee at arrival and departure of the fits of the selection, with the exam of its foot.
-- Grain and key: one row a session and side (session_id, side). Inputs: mart.knees, out_fits.
CREATE OR REPLACE TEMP TABLE out_knees AS
SELECT
    knees.session_id,
    knees.side,
    fits.rider_id,
    knees.arch_height,
    knees.arch_collapse,
    knees.heel_posture,
    knees.forefoot_angle_deg,
    knees.tilt_arrival_deg,
    knees.tilt_departure_deg,
    knees.sway_arrival_mm,
    knees.sway_departure_mm,
    knees.offset_arrival_mm,
    knees.offset_departure_mm
FROM mart.knees AS knees
INNER JOIN out_fits AS fits ON fits.session_id = knees.session_id
WHERE {knees_selected}
ORDER BY knees.session_id, knees.side;
