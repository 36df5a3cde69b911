-- Makes: mart.capture_facts, what is known of one knee in one capture alone: its place, its setup as it stood, its outcomes.
-- Grain and key: one row a session, capture and side (session_id, capture_no, side), in that order.
-- capture_order: 0 for the session's first capture; total_shims = added + built in; is_repeat: the same knee's setup is
-- the one of its capture before, in the same session. Inputs: core.knee_captures, core.foot_setups, mart.fits.
CREATE OR REPLACE TABLE mart.capture_facts AS
WITH gapped AS (
    SELECT DISTINCT captures.session_id, captures.capture_no
    FROM core.knee_captures AS captures
    INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
    WHERE fits.departure_no - fits.arrival_no + 1 <> fits.n_captures
),

-- Only sessions whose capture numbers have gaps need to be counted through.
numbered AS (
    SELECT session_id, capture_no, dense_rank() OVER (PARTITION BY session_id ORDER BY capture_no) - 1 AS capture_order
    FROM gapped
),

ordered AS MATERIALIZED (
    SELECT
        captures.rowid AS position,  -- core is sorted by key
        captures.session_id,
        captures.capture_no,
        captures.side,
        captures.knee_tilt_deg,
        captures.knee_sway_mm,
        captures.knee_offset_mm,
        coalesce(numbered.capture_order, captures.capture_no - fits.arrival_no)::BIGINT AS capture_order,
        captures.capture_no = fits.arrival_no AS is_arrival,
        captures.capture_no = fits.departure_no AS is_departure,
        setups.insole_level,
        setups.shims_added + coalesce(setups.shims_built_in, 0) AS total_shims,
        setups.shim_place,
        setups.stance_mm,
        setups.stance_by,
        CASE
            WHEN setups.insole_level IS NOT NULL THEN hash(
                setups.insole_level, setups.shims_added, coalesce(setups.shims_built_in, 0),
                setups.shim_place, setups.stance_mm, setups.stance_by
            )
        END AS setup_hash
    FROM core.knee_captures AS captures
    INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
    LEFT JOIN core.foot_setups AS setups
        ON
            setups.session_id = captures.session_id
            AND setups.capture_no = captures.capture_no
            AND setups.side = captures.side
    LEFT JOIN numbered ON numbered.session_id = captures.session_id AND numbered.capture_no = captures.capture_no
)

SELECT
    ordered.session_id,
    ordered.capture_no,
    ordered.side,
    ordered.capture_order,
    ordered.is_arrival,
    ordered.is_departure,
    earlier.session_id IS NOT NULL AS is_repeat,
    ordered.insole_level,
    ordered.total_shims,
    ordered.shim_place,
    ordered.stance_mm,
    ordered.stance_by,
    ordered.knee_tilt_deg,
    ordered.knee_sway_mm,
    ordered.knee_offset_mm
FROM ordered
LEFT JOIN ordered AS earlier
    ON
        earlier.session_id = ordered.session_id
        AND earlier.side = ordered.side
        AND earlier.capture_order = ordered.capture_order - 1
        AND earlier.setup_hash = ordered.setup_hash
ORDER BY ordered.position;
