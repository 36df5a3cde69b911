-- Adds: the files of a load to raw.files. Grain and key: load_id, file_no. Inputs: read_files.
INSERT INTO raw.files (
    load_id, file_no, file, "table", digest, detected, read, stored, replaced, unchanged, rejected, waiting, refused, words
)
SELECT
    load_id, file_no, file, "table", digest, detected, read, stored, replaced, unchanged, rejected, waiting, refused, words
FROM read_files
ORDER BY file_no;
