-- Answers: every version of one row, the first one first. Grain: one row a version. Inputs: raw.{table}, raw.loads,
-- raw.files, raw.line_jumps.
SELECT
    version.load_id,
    strftime(loads.loaded_at, '%Y-%m-%dT%H:%M:%SZ') AS loaded_at,
    files.file,
    {line} AS line,
    version.superseded_by,
    {columns}
FROM raw."{table}" AS version
INNER JOIN raw.loads AS loads ON loads.load_id = version.load_id
INNER JOIN raw.files AS files ON files.load_id = version.load_id AND files.file_no = version.file_no
WHERE {same_key}
ORDER BY version.load_id;
