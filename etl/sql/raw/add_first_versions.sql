-- Adds: every sound staged row to raw.{table}, where all of them are new. Grain: one row a key. Inputs: staged_{table}.
INSERT INTO raw."{table}" (load_id, file_no, record, superseded_by, {columns})
SELECT $load_id, staged.file_no, staged.rowid - staged_files.first_row + 1, NULL, {staged_columns}
FROM staged_{table} AS staged
INNER JOIN staged_files ON staged_files.file_no = staged.file_no
WHERE staged.is_sound;
