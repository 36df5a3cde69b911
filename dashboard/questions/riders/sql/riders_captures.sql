-- Answers: each knee in each capture of the selected fits, in order, with the foot's setup as it stood.
-- Grain and key: one row a session, capture and side. Inputs: mart.fits, mart.capture_facts, core.knee_captures, core.foot_setups.
-- place: the capture's place over all fits, from 1.
SELECT
    dense_rank() OVER (ORDER BY fits.session_date, fits.session_id, facts.capture_no) AS place,
    fits.session_id,
    fits.session_date,
    facts.capture_no,
    facts.side,
    facts.knee_tilt_deg,
    facts.knee_sway_mm,
    facts.knee_offset_mm,
    setups.insole_level,
    setups.shims_added,
    setups.shims_built_in,
    setups.shim_place,
    setups.stance_mm,
    setups.stance_by,
    setups.foot_room_ok,
    facts.is_repeat,
    captures.cadence_rpm,
    captures.power_w,
    captures.captured_at
FROM mart.fits AS fits
INNER JOIN mart.capture_facts AS facts ON facts.fit_no = fits.fit_no
INNER JOIN core.knee_captures AS captures
    ON captures.session_id = fits.session_id AND captures.capture_no = facts.capture_no AND captures.side = facts.side
LEFT JOIN core.foot_setups AS setups
    ON setups.session_id = fits.session_id AND setups.capture_no = facts.capture_no AND setups.side = facts.side
WHERE {fits_selected}
ORDER BY place, facts.side;
