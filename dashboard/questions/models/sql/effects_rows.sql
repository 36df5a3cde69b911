-- Answers: the knee captures that the effects are estimated from: setup and outcomes as numbers, a coded column by the place of
-- its code in the list given, 0 where it is missing. Captures without a recorded setup are left out.
-- Grain: one row a knee in one capture, of each foot by capture; foot is that of effects_cells.sql.
-- Inputs: mart.capture_facts, mart.fits.
SELECT
    2 * fits.fit_no + (facts.side = 'right')::INTEGER AS foot,
    facts.capture_order::SMALLINT AS capture_order,
    facts.is_arrival,
    facts.is_departure,
    coalesce(list_position($insole_levels, facts.insole_level), 0)::TINYINT AS insole_level,
    coalesce(list_position($shim_places, facts.shim_place), 0)::TINYINT AS shim_place,
    coalesce(list_position($stance_bys, facts.stance_by), 0)::TINYINT AS stance_by,
    facts.total_shims::TINYINT AS total_shims,
    facts.stance_mm,
    facts.knee_tilt_deg AS tilt,
    facts.knee_sway_mm AS sway,
    facts.knee_offset_mm AS "offset"
FROM mart.capture_facts AS facts
INNER JOIN mart.fits AS fits ON fits.session_id = facts.session_id
WHERE facts.insole_level IS NOT NULL
ORDER BY fits.rider_id, fits.session_id, facts.side, facts.capture_no;
