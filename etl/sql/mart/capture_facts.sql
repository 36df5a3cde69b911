-- Makes: mart.capture_facts, what is known of one knee in one capture alone: its place, its setup as it stood, its outcomes,
-- and what changed since the knee's capture before. Grain and key: one row a session, capture and side (session_id,
-- capture_no, side), in that order. Inputs: core.knee_captures, core.foot_setups, mart.fit_numbers.
-- capture_order: 0 for the session's first capture; total_shims = added + built in; is_repeat: the same knee's setup is
-- the one of its capture before, in the same session; tilt_change_deg, sway_change_mm, offset_change_mm: less that capture,
-- of repeats and of shim steps, which alone are asked for: what is not written is not packed.
-- shims_step: varus shims more than in it, where added shims at one place changed and nothing else did; shims_step_place:
-- where the shims sit, or sat before they were taken out.
-- One part of the sessions at a time: {captures} and {setups} narrow the inputs to it, {make} makes the table or adds to it.
{make}
WITH gapped AS (
    SELECT DISTINCT captures.session_id, captures.capture_no
    FROM core.knee_captures AS captures
    INNER JOIN mart.fit_numbers AS fits ON fits.session_id = captures.session_id
    WHERE fits.departure_no - fits.arrival_no + 1 <> fits.n_captures AND {captures}
),

-- Only sessions whose capture numbers have gaps need to be counted through.
numbered AS (
    SELECT session_id, capture_no, dense_rank() OVER (PARTITION BY session_id ORDER BY capture_no) - 1 AS capture_order
    FROM gapped
),

ordered AS MATERIALIZED (
    SELECT
        fits.fit_no,
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
        setups.shims_added,
        coalesce(setups.shims_built_in, 0) AS shims_built_in,
        setups.shim_place,
        setups.stance_mm,
        setups.stance_by,
        CASE
            WHEN setups.insole_level IS NOT NULL THEN hash(
                setups.insole_level, setups.shims_added, coalesce(setups.shims_built_in, 0),
                setups.shim_place, setups.stance_mm, setups.stance_by
            )
        END AS setup_hash,
        -- A knee in a session, and 200 places for its captures.
        (fits.fit_no * 2::BIGINT + (captures.side = 'right')::INTEGER) * 200
        + coalesce(numbered.capture_order, captures.capture_no - fits.arrival_no) AS place
    FROM core.knee_captures AS captures
    INNER JOIN mart.fit_numbers AS fits ON fits.session_id = captures.session_id
    LEFT JOIN core.foot_setups AS setups
        ON
            setups.session_id = captures.session_id
            AND setups.capture_no = captures.capture_no
            AND setups.side = captures.side
            AND {setups}
    LEFT JOIN numbered ON numbered.session_id = captures.session_id AND numbered.capture_no = captures.capture_no
    WHERE {captures}
),

stepped AS (
    SELECT
        later.*,
        coalesce(earlier.setup_hash = later.setup_hash, false) AS is_repeat,
        later.knee_tilt_deg - earlier.knee_tilt_deg AS tilt_change_deg,
        later.knee_sway_mm - earlier.knee_sway_mm AS sway_change_mm,
        later.knee_offset_mm - earlier.knee_offset_mm AS offset_change_mm,
        CASE
            WHEN
                earlier.shims_built_in = later.shims_built_in
                AND earlier.insole_level = later.insole_level
                AND earlier.stance_mm = later.stance_mm
                THEN nullif(later.shims_added - earlier.shims_added, 0)
        END AS shims_step,
        CASE
            WHEN later.shims_added = 0 THEN earlier.shim_place
            WHEN earlier.shims_added = 0 OR earlier.shim_place = later.shim_place OR earlier.shim_place IS NULL
                THEN later.shim_place
            WHEN later.shim_place IS NULL THEN earlier.shim_place
        END AS shims_step_place
    FROM ordered AS later
    LEFT JOIN ordered AS earlier ON earlier.place = later.place - 1
)

SELECT
    stepped.fit_no,
    stepped.session_id,
    stepped.capture_no,
    stepped.side,
    stepped.capture_order,
    stepped.is_arrival,
    stepped.is_departure,
    stepped.is_repeat,
    stepped.insole_level,
    stepped.shims_added + stepped.shims_built_in AS total_shims,
    stepped.shim_place,
    stepped.stance_mm,
    stepped.stance_by,
    stepped.knee_tilt_deg,
    stepped.knee_sway_mm,
    stepped.knee_offset_mm,
    CASE WHEN stepped.is_repeat OR stepped.shims_step IS NOT NULL THEN stepped.tilt_change_deg END AS tilt_change_deg,
    CASE WHEN stepped.is_repeat OR stepped.shims_step IS NOT NULL THEN stepped.sway_change_mm END AS sway_change_mm,
    CASE WHEN stepped.is_repeat OR stepped.shims_step IS NOT NULL THEN stepped.offset_change_mm END AS offset_change_mm,
    CASE WHEN stepped.shims_step_place IS NOT NULL THEN stepped.shims_step END AS shims_step,
    CASE WHEN stepped.shims_step IS NOT NULL THEN stepped.shims_step_place END AS shims_step_place
FROM stepped
ORDER BY stepped.session_id, stepped.capture_no, stepped.side;
