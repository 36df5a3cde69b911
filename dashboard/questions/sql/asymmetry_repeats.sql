-- Answers: side differences of two captures in a row between which nothing was changed on either foot.
-- Grain and key: one row a session and later capture. Inputs: mart.capture_facts, mart.fits.
WITH paired AS (
    SELECT
        captures.session_id,
        captures.capture_no,
        captures.side,
        captures.is_repeat,
        captures.knee_tilt_deg AS tilt,
        captures.knee_offset_mm AS "offset",
        lag(captures.knee_tilt_deg) OVER knee_in_session AS tilt_before,
        lag(captures.knee_offset_mm) OVER knee_in_session AS offset_before
    FROM mart.capture_facts AS captures
    WINDOW knee_in_session AS (PARTITION BY captures.session_id, captures.side ORDER BY captures.capture_no)
),

both_knees AS (
    SELECT
        session_id,
        capture_no,
        max(tilt) FILTER (WHERE side = 'right') - max(tilt) FILTER (WHERE side = 'left') AS tilt,
        max("offset") FILTER (WHERE side = 'right') - max("offset") FILTER (WHERE side = 'left') AS "offset",
        max(tilt_before) FILTER (WHERE side = 'right') - max(tilt_before) FILTER (WHERE side = 'left') AS tilt_before,
        max(offset_before) FILTER (WHERE side = 'right') - max(offset_before) FILTER (WHERE side = 'left') AS offset_before
    FROM paired
    WHERE is_repeat
    GROUP BY session_id, capture_no
    HAVING count(*) = 2
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    both_knees.tilt,
    both_knees.tilt_before,
    both_knees."offset",
    both_knees.offset_before
FROM both_knees
INNER JOIN mart.fits AS fits ON fits.session_id = both_knees.session_id
WHERE {fits_selected}
ORDER BY both_knees.session_id, both_knees.capture_no;
