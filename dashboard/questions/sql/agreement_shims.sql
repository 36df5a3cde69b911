-- Answers: changes between two captures in a row of one knee in which added shims changed and nothing else did, at one place.
-- Grain and key: one row a session, side and later capture. Inputs: mart.capture_facts, mart.fits, core.foot_setups.
-- tilt, sway: change for each varus shim more; the place is where the shims sit, or sat before they were taken out.
WITH stepped AS (
    SELECT
        later.session_id,
        later.side,
        later.capture_no,
        earlier.capture_no AS earlier_no,
        (later.knee_tilt_deg - earlier.knee_tilt_deg) / (later.total_shims - earlier.total_shims) AS tilt,
        (later.knee_sway_mm - earlier.knee_sway_mm) / (later.total_shims - earlier.total_shims) AS sway
    FROM mart.capture_facts AS later
    INNER JOIN mart.capture_facts AS earlier
        ON
            earlier.session_id = later.session_id
            AND earlier.side = later.side
            AND earlier.capture_order = later.capture_order - 1
            AND earlier.total_shims <> later.total_shims
            AND earlier.insole_level = later.insole_level
            AND earlier.stance_mm = later.stance_mm
),

placed AS (
    SELECT
        stepped.session_id,
        stepped.side,
        stepped.capture_no,
        stepped.tilt,
        stepped.sway,
        CASE WHEN later.shims_added <> 0 THEN later.shim_place END AS later_place,
        CASE WHEN earlier.shims_added <> 0 THEN earlier.shim_place END AS earlier_place
    FROM stepped
    INNER JOIN core.foot_setups AS later
        ON
            later.session_id = stepped.session_id
            AND later.capture_no = stepped.capture_no
            AND later.side = stepped.side
    INNER JOIN core.foot_setups AS earlier
        ON
            earlier.session_id = stepped.session_id
            AND earlier.capture_no = stepped.earlier_no
            AND earlier.side = stepped.side
            AND coalesce(earlier.shims_built_in, 0) = coalesce(later.shims_built_in, 0)
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    coalesce(placed.later_place, placed.earlier_place) AS shim_place,
    placed.tilt,
    placed.sway
FROM placed
INNER JOIN mart.fits AS fits ON fits.session_id = placed.session_id
WHERE
    {fits_selected}
    AND coalesce(placed.earlier_place, placed.later_place) = coalesce(placed.later_place, placed.earlier_place)
ORDER BY placed.session_id, placed.side, placed.capture_no;
