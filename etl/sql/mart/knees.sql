-- Makes: mart.knees, one knee at arrival and departure of a fit. Grain and key: one row a session and side (session_id, side).
-- A view. Knees recorded at both ends of a session of two or more captures. Inputs: mart.captures,
-- mart.capture_facts.
CREATE OR REPLACE VIEW mart.knees AS
SELECT
    arrival.session_id,
    arrival.side,
    arrival.rider_id,
    arrival.fitter_id,
    arrival.studio_id,
    arrival.session_date,
    arrival.visit_kind,
    arrival.bike_kind,
    arrival.riding,
    arrival.visit_no,
    arrival.arch_height,
    arrival.arch_collapse,
    arrival.heel_posture,
    arrival.forefoot_angle_deg,
    arrival.knee_tilt_deg AS tilt_arrival_deg,
    departure.knee_tilt_deg AS tilt_departure_deg,
    arrival.knee_sway_mm AS sway_arrival_mm,
    departure.knee_sway_mm AS sway_departure_mm,
    arrival.knee_offset_mm AS offset_arrival_mm,
    departure.knee_offset_mm AS offset_departure_mm
FROM mart.captures AS arrival
INNER JOIN mart.capture_facts AS departure
    ON departure.session_id = arrival.session_id AND departure.side = arrival.side AND departure.is_departure
WHERE arrival.is_arrival AND departure.capture_no > arrival.capture_no
ORDER BY arrival.session_id, arrival.side;
