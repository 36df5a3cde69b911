-- Answers: what became of the rows of each file of a load by now. Grain and key: one row a file (file_no).
-- Inputs: raw.files, raw.findings, raw.sightings, raw.unresolved.
WITH left_out AS (
    SELECT file_no, is_waiting, record
    FROM raw.unresolved
    WHERE load_id = $load_id
    UNION ALL
    SELECT sightings.file_no, unresolved.is_waiting, sightings.record
    FROM raw.sightings AS sightings
    INNER JOIN raw.unresolved AS unresolved
        ON
            unresolved."table" = sightings."table"
            AND unresolved.load_id = sightings.version_load
            AND unresolved.file_no = sightings.version_file
            AND unresolved.record = sightings.version_record
    WHERE sightings.load_id = $load_id
),

counted AS (
    SELECT file_no, count(*) FILTER (WHERE is_waiting) AS waiting, count(*) FILTER (WHERE NOT is_waiting) AS orphans
    FROM left_out
    GROUP BY file_no
),

broken AS (
    -- Several records may stand on one line, where a mapping makes a row of each side; a ragged row has no record.
    SELECT
        file_no,
        count(DISTINCT coalesce(record, -line)) FILTER (WHERE NOT is_cell) AS n,
        count(DISTINCT (record, "column")) FILTER (WHERE is_cell) AS cells
    FROM raw.findings
    WHERE load_id = $load_id AND rule <> 'orphan'
    GROUP BY file_no
)

SELECT
    files.file,
    files."table",
    files.read,
    coalesce(broken.n, 0) + coalesce(counted.orphans, 0) AS rejected,
    coalesce(counted.waiting, 0) AS waiting,
    coalesce(broken.cells, 0) AS cells,
    files.refused,
    files.words
FROM raw.files AS files
LEFT JOIN counted ON counted.file_no = files.file_no
LEFT JOIN broken ON broken.file_no = files.file_no
WHERE files.load_id = $load_id
ORDER BY files.file_no;
