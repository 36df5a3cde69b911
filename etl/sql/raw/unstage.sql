-- Makes: staged_{table} without the records of some files, made anew so that its row ids run through, and without findings of
-- them. Grain: one row a record.
CREATE OR REPLACE TEMP TABLE staged_{table} AS
SELECT file_no, {columns}, is_sound, reject_no, is_whole, filled
FROM staged_{table}
WHERE NOT list_contains($file_nos, file_no);

DELETE FROM staged_files WHERE list_contains($file_nos, file_no);

DELETE FROM found WHERE list_contains($file_nos, file_no);
