-- Answers: which capture each row of the effects' captures is. Grain and key: one row a knee in one capture with a recorded
-- setup (session_id, side, capture_no), in the order of effects_rows.sql. Inputs: mart.capture_facts, mart.fits.
SELECT
    facts.session_id,
    facts.side,
    facts.capture_no::BIGINT AS capture_no
FROM mart.capture_facts AS facts
INNER JOIN mart.fits AS fits ON fits.session_id = facts.session_id
WHERE facts.insole_level IS NOT NULL
ORDER BY fits.rider_id, fits.session_id, facts.side, facts.capture_no;
