-- Answers: changes between two captures in a row of one knee in which added shims changed and nothing else did, at one place.
-- Grain and key: one row a session, side and later capture. Inputs: mart.capture_facts, mart.fits.
-- tilt, sway: change for each varus shim more; the place is where the shims sit, or sat before they were taken out.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    facts.shims_step_place = 'at_cleat' AS is_at_cleat,
    facts.tilt_change_deg / facts.shims_step AS tilt,
    facts.sway_change_mm / facts.shims_step AS sway
FROM mart.capture_facts AS facts
INNER JOIN mart.fits AS fits ON fits.fit_no = facts.fit_no
WHERE facts.shims_step IS NOT NULL AND {fits_selected}
ORDER BY facts.fit_no, facts.side, facts.capture_no;
