-- Answers: what was measured of each knee of a fit before its setup changed for the first time. Grain and key: one row a side and
-- capture (side, capture_no), in that order. Input: mart.capture_facts.
WITH compared AS (
    SELECT
        facts.side,
        facts.capture_no,
        facts.insole_level,
        facts.total_shims,
        facts.stance_mm,
        facts.knee_tilt_deg,
        facts.knee_sway_mm,
        (facts.insole_level, facts.total_shims, facts.stance_mm)
        <> first_value((facts.insole_level, facts.total_shims, facts.stance_mm)) OVER by_capture AS is_other
    FROM mart.capture_facts AS facts
    INNER JOIN mart.fits AS fits ON fits.fit_no = facts.fit_no
    WHERE fits.session_id = $session AND facts.insole_level IS NOT NULL
    WINDOW by_capture AS (PARTITION BY facts.side ORDER BY facts.capture_no)
)

SELECT
    side,
    capture_no,
    insole_level,
    total_shims,
    stance_mm,
    knee_tilt_deg,
    knee_sway_mm
FROM compared
QUALIFY NOT bool_or(is_other) OVER (PARTITION BY side ORDER BY capture_no)
ORDER BY side, capture_no;
