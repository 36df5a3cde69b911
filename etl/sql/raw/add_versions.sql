-- Adds: the new versions of one table to raw.{table}. Grain: one row a key and load. Inputs: staged_{table}, fates_{table}.
INSERT INTO raw."{table}" (load_id, file_no, record, superseded_by, {columns})
SELECT $load_id, staged.file_no, staged.rowid - staged_files.first_row + 1, NULL, {staged_columns}
FROM staged_{table} AS staged
INNER JOIN staged_files ON staged_files.file_no = staged.file_no
SEMI JOIN (
    SELECT staged_row
    FROM fates_{table}
    WHERE fate IN ('stored', 'replaced')
) AS fates ON staged.rowid = fates.staged_row;
