-- Adds: the rows of one table that brought nothing new, with the version that they are, so that a load can be undone
-- although later ones brought its rows again. Grain: one row a record. Inputs: staged_{table}, fates_{table}, raw.{table}.
INSERT INTO raw.sightings
SELECT
    '{table}', $load_id, staged.file_no, staged.rowid - staged_files.first_row + 1,
    version.load_id, version.file_no, version.record
FROM fates_{table} AS fates
INNER JOIN staged_{table} AS staged ON staged.rowid = fates.staged_row
INNER JOIN staged_files ON staged_files.file_no = staged.file_no
INNER JOIN raw."{table}" AS version ON version.superseded_by IS NULL AND {same_key}
WHERE fates.fate = 'unchanged';
