-- Adds: the times by which the staged captures of one table were numbered, so that a later load goes on from them. Grain: one row a
-- time of a visit and load. Inputs: numbers_{table}, staged_{table}.
INSERT INTO raw.numbered_times
SELECT DISTINCT $load_id, '{table}', numbers.session_id, numbers.side, numbers.told_at, numbers.capture_no
FROM numbers_{table} AS numbers
SEMI JOIN staged_{table} AS staged
    ON
        staged.session_id = numbers.session_id
        AND staged.capture_no = numbers.capture_no
        AND staged.is_sound
WHERE numbers.capture_no IS NOT NULL;
