-- Adds: the load that replaces them to the versions of one table that it replaces. Grain: one row a key.
-- Inputs: staged_{table}, fates_{table}.
UPDATE raw."{table}" AS earlier
SET superseded_by = $load_id
FROM fates_{table} AS fates
INNER JOIN staged_{table} AS staged ON staged.rowid = fates.staged_row
WHERE fates.fate = 'replaced' AND earlier.superseded_by IS NULL AND {same_key_as_earlier};
