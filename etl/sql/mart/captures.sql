-- Makes: mart.captures, one knee in one capture with its exam and the setup as it stood.
-- Grain and key: one row a session, capture and side (session_id, capture_no, side). Inputs: core.*, mart.fits.
-- capture_order: 0 for the session's first capture; total_shims = added + built in; is_repeat: the same knee's setup is
-- the one of its capture before, in the same session.
CREATE OR REPLACE TABLE mart.captures AS
WITH ordered AS (
    SELECT
        captures.session_id,
        captures.capture_no,
        captures.side,
        captures.knee_tilt_deg,
        captures.knee_sway_mm,
        captures.knee_offset_mm,
        dense_rank() OVER (PARTITION BY captures.session_id ORDER BY captures.capture_no) - 1 AS capture_order,
        setups.insole_level,
        setups.shims_added + coalesce(setups.shims_built_in, 0) AS total_shims,
        setups.shim_place,
        setups.stance_mm,
        setups.stance_by,
        hash(
            setups.insole_level, setups.shims_added, coalesce(setups.shims_built_in, 0),
            setups.shim_place, setups.stance_mm, setups.stance_by
        ) AS setup_hash
    FROM core.knee_captures AS captures
    LEFT JOIN core.foot_setups AS setups
        ON
            setups.session_id = captures.session_id
            AND setups.capture_no = captures.capture_no
            AND setups.side = captures.side
)

SELECT
    ordered.session_id,
    ordered.capture_no,
    ordered.side,
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
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.forefoot_angle_deg,
    exams.squat_knee_path,
    ordered.capture_order,
    ordered.capture_no = fits.arrival_no AS is_arrival,
    ordered.capture_no = fits.departure_no AS is_departure,
    coalesce(
        ordered.insole_level IS NOT NULL
        AND ordered.setup_hash = lag(ordered.setup_hash) OVER knee_in_session
        AND ordered.capture_order = 1 + lag(ordered.capture_order) OVER knee_in_session,
        false
    ) AS is_repeat,
    ordered.insole_level,
    ordered.total_shims,
    ordered.shim_place,
    ordered.stance_mm,
    ordered.stance_by,
    ordered.knee_tilt_deg,
    ordered.knee_sway_mm,
    ordered.knee_offset_mm
FROM ordered
INNER JOIN mart.fits AS fits ON fits.session_id = ordered.session_id
LEFT JOIN core.foot_exams AS exams ON exams.session_id = ordered.session_id AND exams.side = ordered.side
WINDOW knee_in_session AS (PARTITION BY ordered.session_id, ordered.side ORDER BY ordered.capture_no)
ORDER BY ordered.session_id, ordered.capture_no, ordered.side;
