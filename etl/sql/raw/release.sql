-- Adds: to the findings of one table the first load since $since that mended their row: it brought a sound row with the
-- same key (or, of a faulty cell, the row with that cell empty), or the row with the reject's number and no longer the same cells. Grain: one row a finding.
-- Inputs: raw.findings, raw.{table}, raw.mended.
UPDATE raw.findings
SET released_by = mending.load_id
FROM (
    WITH standing AS (
        SELECT reject_no, any_value(row_key) AS row_key, min(load_id) AS first_load, bool_and(is_cell) AS is_cell
        FROM raw.findings
        WHERE "table" = '{table}' AND rule <> 'orphan' AND released_by IS NULL
        GROUP BY reject_no
    ),

    sound AS (
        SELECT standing.reject_no, version.load_id
        FROM raw."{table}" AS version
        INNER JOIN standing ON standing.row_key = {row_key} AND version.load_id > standing.first_load
        ANTI JOIN raw.findings AS again
            ON
                again.is_cell
                AND again.load_id = version.load_id
                AND again."table" = '{table}'
                AND again.reject_no = standing.reject_no
        WHERE version.load_id >= $since
    ),

    numbered AS (
        SELECT standing.reject_no, mended.load_id
        FROM raw.mended AS mended
        INNER JOIN standing ON standing.reject_no = mended.reject_no AND mended.load_id > standing.first_load
        ANTI JOIN raw.findings AS again
            ON again.load_id = mended.load_id AND again."table" = mended."table" AND again.reject_no = mended.reject_no
        WHERE mended."table" = '{table}' AND mended.load_id >= $since
    ),

    -- A row that is stored without its faulty cell is mended where that cell comes empty.
    emptied AS (
        SELECT standing.reject_no, sightings.load_id
        FROM raw.sightings AS sightings
        INNER JOIN raw."{table}" AS version
            ON
                version.load_id = sightings.version_load
                AND version.file_no = sightings.version_file
                AND version.record = sightings.version_record
        INNER JOIN standing ON standing.row_key = {row_key} AND sightings.load_id > standing.first_load
        ANTI JOIN raw.findings AS again
            ON again.load_id = sightings.load_id AND again."table" = '{table}' AND again.row_key = standing.row_key
        WHERE standing.is_cell AND sightings."table" = '{table}' AND sightings.load_id >= $since
    )

    SELECT reject_no, min(load_id) AS load_id
    FROM (
        SELECT reject_no, load_id FROM sound
        UNION ALL
        SELECT reject_no, load_id FROM numbered
        UNION ALL
        SELECT reject_no, load_id FROM emptied
    )
    GROUP BY reject_no
) AS mending
WHERE
    raw.findings."table" = '{table}'
    AND raw.findings.rule <> 'orphan'
    AND raw.findings.reject_no = mending.reject_no;
