-- Answers: pairs of consecutive captures of one knee with the same setup. Grain and key: one row a session, side and later
-- capture. Inputs: mart.captures, mart.capture_facts, mart.fits. Differences: later less earlier.
SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    captures.side,
    fits.fitter_id AS fitter,
    fits.studio_id AS studio,
    fits.session_date AS day,
    year(fits.session_date) || ' quarter ' || quarter(fits.session_date) AS quarter,
    captures.knee_tilt_deg - earlier.knee_tilt_deg AS tilt,
    captures.knee_sway_mm - earlier.knee_sway_mm AS sway,
    captures.knee_offset_mm - earlier.knee_offset_mm AS "offset"
FROM mart.captures AS captures
INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
INNER JOIN mart.capture_facts AS earlier
    ON
        earlier.session_id = captures.session_id
        AND earlier.side = captures.side
        AND earlier.capture_order = captures.capture_order - 1
WHERE captures.is_repeat AND {fits_selected} AND {captures_selected}
ORDER BY captures.session_id, captures.side, captures.capture_no;
