-- Answers: the load of exactly these files whose rules give the same today. Grain: one row or none. Inputs: raw.loads,
-- raw.findings. Time only widens the rules on dates and years, so that a load without a finding of them stays the same;
-- and a load that was undone since may have left rows without their parents.
SELECT loads.load_id
FROM raw.loads AS loads
WHERE
    loads.fingerprint = $fingerprint
    AND loads.undone_at IS NULL
    AND NOT EXISTS (SELECT 1 FROM raw.loads AS undone WHERE undone.undone_at >= loads.loaded_at)
    AND (
        loads.load_date = $today
        OR (
            loads.load_date < $today
            AND NOT EXISTS (
                SELECT 1
                FROM raw.findings AS findings
                WHERE findings.load_id = loads.load_id AND findings.rule IN ('date', 'range')
            )
        )
    )
ORDER BY loads.load_id DESC
LIMIT 1;
