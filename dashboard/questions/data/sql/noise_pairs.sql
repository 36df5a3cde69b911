-- Answers: pairs of consecutive captures of one knee with the same setup. Grain and key: one row a session, side and later
-- capture. Inputs: mart.capture_facts, mart.fits. Differences: later less earlier.
SELECT
    facts.fit_no,
    fits.rider_no AS rider,
    (facts.side = 'right')::TINYINT AS side,
    fits.fitter_no AS fitter,
    fits.studio_no AS studio,
    fits.session_date AS day,
    facts.tilt_change_deg AS tilt,
    facts.sway_change_mm AS sway,
    facts.offset_change_mm AS "offset"
FROM mart.capture_facts AS facts
INNER JOIN mart.fits AS fits ON fits.fit_no = facts.fit_no
WHERE facts.is_repeat AND {fits_selected} AND {facts_selected}
ORDER BY facts.fit_no, facts.side, facts.capture_no;
