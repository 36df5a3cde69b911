-- Answers: the files of the loads that stand, by the table that they were read into. Grain and key: (load_id, file_no).
-- Inputs: raw.files, raw.loads. A file that brought nothing new has no stored or replaced row.
SELECT
    files."table",
    files.load_id,
    strftime(loads.loaded_at, '%Y-%m-%dT%H:%M:%SZ') AS loaded_at,
    files.file_no,
    files.file,
    files.stored,
    files.replaced
FROM raw.files AS files
INNER JOIN raw.loads AS loads ON loads.load_id = files.load_id
WHERE loads.undone_at IS NULL AND files."table" IS NOT NULL AND files.stored + files.replaced > 0
ORDER BY files."table", files.load_id, files.file_no;
