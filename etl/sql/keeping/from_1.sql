-- Makes: the ledger of version 1 in the form of version 2. Grain: raw.loads, raw.files and raw.findings as schema.sql says.
-- Inputs: raw.loads, raw.files and raw.rejects of version 1. A reject of version 1 is one finding: rows of one table that
-- were received alike become one reject with one number. What version 1 did not keep is left empty: fingerprints and
-- digests (so that no folder is known again), sightings, and where lines run ahead of records.
CREATE TEMP TABLE loads_1 AS SELECT load_id, loaded_at FROM raw.loads;

CREATE TEMP TABLE files_1 AS
SELECT
    load_id, file_no, file, "table", detected, read, stored, replaced, unchanged, rejected, waiting, refused, words
FROM raw.files;

CREATE TEMP TABLE rejects_1 AS
SELECT reject_no, load_id, file, line, "table", "column", rule, value, words, received, row_key
FROM raw.rejects;

DROP TABLE raw.loads;

DROP TABLE raw.files;

DROP TABLE raw.rejects;

DROP SEQUENCE raw.reject_no;

DROP TABLE raw.waiting;

{schema}

INSERT INTO raw.loads
SELECT load_id, loaded_at, CAST(loaded_at AS DATE), '', NULL
FROM loads_1
ORDER BY load_id;

INSERT INTO raw.files (
    load_id, file_no, file, "table", digest, detected, read, stored, replaced, unchanged, rejected, waiting, refused, words
)
SELECT
    load_id, file_no, file, "table", NULL, detected, read, stored, replaced, unchanged, rejected, waiting, refused, words
FROM files_1
ORDER BY load_id, file_no;

INSERT INTO raw.findings (
    load_id, file_no, file, record, line, "table", "column", rule, value, words, received, cells, row_key, reject_no, released_by,
    layout, source_record, changes, is_cell
)
SELECT
    rejects_1.load_id, coalesce(files_1.file_no, 0), rejects_1.file, NULL, rejects_1.line, rejects_1."table",
    rejects_1."column", rejects_1.rule, rejects_1.value, rejects_1.words, rejects_1.received, rejects_1.received,
    rejects_1.row_key,
    1000 * dense_rank() OVER (ORDER BY rejects_1."table", rejects_1.received)
    + md5_number_lower(rejects_1.received) % 1000,
    NULL, NULL, NULL, NULL, false
FROM rejects_1
LEFT JOIN files_1
    ON
        files_1.load_id = rejects_1.load_id
        AND files_1.file = rejects_1.file
        AND files_1."table" = rejects_1."table"
ORDER BY rejects_1.reject_no;
