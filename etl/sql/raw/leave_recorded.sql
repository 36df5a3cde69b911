-- Makes: recorded_already, the staged rows of one table with a faulty cell for which a value is recorded: in the current version of the
-- row, or in another row of this load. Stored without the cell, they would put it away; they are taken for rejected rows.
-- Grain and key: file_no, record. Inputs: found, staged_{table}, staged_files, raw.{table}.
CREATE OR REPLACE TEMP TABLE recorded_already AS
WITH faulty AS (
    SELECT found.file_no, found.record, found."column" AS faulty_column, staged.*
    FROM found
    INNER JOIN staged_files ON staged_files.file_no = found.file_no AND staged_files."table" = '{table}'
    INNER JOIN staged_{table} AS staged
        ON staged.file_no = found.file_no AND staged.rowid = staged_files.first_row + found.record - 1
    WHERE found.is_cell
),

recorded AS (
    SELECT {columns}
    FROM raw."{table}"
    WHERE superseded_by IS NULL
    UNION ALL
    SELECT {columns}
    FROM staged_{table}
    WHERE is_whole
)

SELECT DISTINCT faulty.file_no, faulty.record
FROM faulty
INNER JOIN recorded ON {same_key}
WHERE {is_recorded};

UPDATE staged_{table}
SET is_sound = false
FROM recorded_already, staged_files
WHERE
    staged_files.file_no = recorded_already.file_no
    AND staged_{table}.file_no = recorded_already.file_no
    AND staged_{table}.rowid = staged_files.first_row + recorded_already.record - 1;

UPDATE found
SET is_cell = false, words = replace(found.words, $kept, ' A value is recorded already, so that this row changes nothing.')
FROM recorded_already
WHERE found.file_no = recorded_already.file_no AND found.record = recorded_already.record;
