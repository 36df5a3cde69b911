-- Adds: the new versions of one table to raw.{table}. Grain: one row a key and load. Inputs: staged_{table}, fates_{table}.
UPDATE raw."{table}" AS earlier
SET superseded_by = $load_id
FROM fates_{table} AS fates
INNER JOIN staged_{table} AS staged ON staged.rowid = fates.staged_row
WHERE fates.fate = 'replaced' AND earlier.superseded_by IS NULL AND {same_key_as_earlier};

INSERT INTO raw."{table}" (load_id, file_no, record, superseded_by, {columns})
SELECT $load_id, staged.file_no, staged.rowid - staged_files.first_row + 1, NULL, {staged_columns}
FROM staged_{table} AS staged
INNER JOIN fates_{table} AS fates ON staged.rowid = fates.staged_row
INNER JOIN staged_files ON staged_files.file_no = staged.file_no
WHERE fates.fate IN ('stored', 'replaced')
ORDER BY staged.rowid;
