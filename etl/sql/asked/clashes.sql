-- Answers: ids under which this load brings another year of birth or another sex than was there, or than another file of it
-- brings; what contradicts itself within one file is a finding. Grain: one row an id and a column of the two. Inputs: raw.riders, raw.files, found, staged_files.
WITH told AS (
    SELECT riders.rider_id, riders.birth_year::VARCHAR AS birth_year, riders.sex, files.file
    FROM raw.riders AS riders
    LEFT JOIN raw.files AS files ON files.load_id = riders.load_id AND files.file_no = riders.file_no
    WHERE riders.superseded_by = $load_id
    UNION ALL
    SELECT riders.rider_id, riders.birth_year::VARCHAR, riders.sex, staged.file
    FROM raw.riders AS riders
    INNER JOIN staged_files AS staged ON staged.file_no = riders.file_no
    WHERE riders.load_id = $load_id
    UNION ALL
    SELECT
        found.row_key, json_extract_string(found.cells, '$.birth_year'), lower(json_extract_string(found.cells, '$.sex')),
        staged.file
    FROM found
    INNER JOIN staged_files AS staged ON staged.file_no = found.file_no
    WHERE staged."table" = 'riders' AND found.rule = 'duplicate_key'
),

cells AS (
    SELECT rider_id, 'birth_year' AS what, birth_year AS value, min(file) AS file FROM told GROUP BY ALL
    UNION ALL
    SELECT rider_id, 'sex', sex, min(file) FROM told GROUP BY ALL
)

SELECT rider_id, what, list(value ORDER BY value) AS told, list(file ORDER BY value) AS files
FROM cells
WHERE value IS NOT NULL
GROUP BY rider_id, what
HAVING count(DISTINCT value) > 1 AND count(DISTINCT file) > 1
ORDER BY rider_id, what;
