-- Adds: to the orphans of one table whether their parent has come: released where the row is resolved now, standing where
-- it is not. Grain: one row a finding. Inputs: raw.findings, raw.unresolved.
UPDATE raw.findings
SET released_by = CASE
    WHEN EXISTS (
        SELECT 1
        FROM raw.unresolved AS unresolved
        WHERE
            unresolved."table" = '{table}'
            AND NOT unresolved.is_waiting
            AND unresolved.row_key = raw.findings.row_key
            AND unresolved."column" = raw.findings."column"
            AND unresolved.value = raw.findings.value
    ) THEN NULL
    ELSE coalesce(raw.findings.released_by, $load_id)
END
WHERE raw.findings."table" = '{table}' AND raw.findings.rule = 'orphan';
