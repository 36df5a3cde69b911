-- Answers: pairs of consecutive captures of one knee with the same setup. Grain and key: one row a session, side and later
-- capture. Inputs: mart.captures, mart.fits.
WITH paired AS (
    SELECT
        captures.session_id,
        captures.capture_no,
        captures.side,
        captures.is_repeat,
        captures.knee_tilt_deg - lag(captures.knee_tilt_deg) OVER knee_in_session AS tilt,
        captures.knee_sway_mm - lag(captures.knee_sway_mm) OVER knee_in_session AS sway,
        captures.knee_offset_mm - lag(captures.knee_offset_mm) OVER knee_in_session AS "offset"
    FROM mart.captures AS captures
    INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
    WHERE {fits_selected} AND {captures_selected}
    WINDOW knee_in_session AS (PARTITION BY captures.session_id, captures.side ORDER BY captures.capture_no)
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    paired.side,
    fits.fitter_id AS fitter,
    fits.studio_id AS studio,
    fits.session_date AS day,
    year(fits.session_date) || ' quarter ' || quarter(fits.session_date) AS quarter,
    paired.tilt,
    paired.sway,
    paired."offset"
FROM paired
INNER JOIN mart.fits AS fits ON fits.session_id = paired.session_id
WHERE paired.is_repeat
ORDER BY paired.session_id, paired.side, paired.capture_no;
