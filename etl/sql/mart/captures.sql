-- Makes: mart.captures, one knee in one capture with its fit, its exam and the setup as it stood.
-- Grain and key: one row a session, capture and side (session_id, capture_no, side).
-- A view: what belongs to the fit and the foot is looked up, not written again for every capture.
-- Inputs: mart.capture_facts, mart.fits, mart.feet.
CREATE OR REPLACE VIEW mart.captures AS
SELECT
    facts.session_id,
    facts.capture_no,
    facts.side,
    fits.rider_id,
    fits.fitter_id,
    fits.studio_id,
    fits.session_date,
    fits.visit_kind,
    fits.bike_kind,
    fits.riding,
    fits.sex,
    fits.birth_year,
    fits.visit_no,
    feet.arch_height,
    feet.arch_collapse,
    feet.heel_posture,
    feet.forefoot_angle_deg,
    feet.squat_knee_path,
    facts.capture_order,
    facts.is_arrival,
    facts.is_departure,
    facts.is_repeat,
    facts.insole_level,
    facts.total_shims,
    facts.shim_place,
    facts.stance_mm,
    facts.stance_by,
    facts.knee_tilt_deg,
    facts.knee_sway_mm,
    facts.knee_offset_mm
FROM mart.capture_facts AS facts
INNER JOIN mart.fits AS fits ON fits.fit_no = facts.fit_no
INNER JOIN mart.feet AS feet ON feet.fit_no = facts.fit_no AND feet.side = facts.side;
