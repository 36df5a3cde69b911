-- Makes: staged_{table} without the records of one file, made anew so that its row ids run through. Grain: one row a record.
CREATE OR REPLACE TEMP TABLE staged_{table} AS
SELECT file_no, {columns}, is_sound, reject_no
FROM staged_{table}
WHERE file_no <> $file_no;

DELETE FROM staged_files WHERE file_no = $file_no;
