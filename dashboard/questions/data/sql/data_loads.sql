-- Answers: the loads that changed the warehouse; one that was taken back has no files left. Grain and key: load_id.
-- Inputs: raw.loads, raw.files.
SELECT
    loads.load_id,
    strftime(loads.loaded_at, '%Y-%m-%dT%H:%M:%SZ') AS loaded_at,
    count(files.file_no) AS files,
    coalesce(sum(files.read), 0)::BIGINT AS read,
    coalesce(sum(files.stored), 0)::BIGINT AS stored,
    coalesce(sum(files.replaced), 0)::BIGINT AS replaced,
    coalesce(sum(files.unchanged), 0)::BIGINT AS unchanged,
    coalesce(sum(files.rejected), 0)::BIGINT AS rejected,
    coalesce(sum(files.waiting), 0)::BIGINT AS waiting,
    coalesce(string_agg(files.file, chr(10) ORDER BY files.file_no), '') AS names,
    strftime(loads.undone_at, '%Y-%m-%dT%H:%M:%SZ') AS undone_at
FROM raw.loads AS loads
LEFT JOIN raw.files AS files ON files.load_id = loads.load_id
GROUP BY loads.load_id, loads.loaded_at, loads.undone_at
ORDER BY loads.load_id;
