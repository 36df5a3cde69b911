-- Makes: numbered_findings, this load's findings with the number of their reject. Grain: one row a rule and record.
-- A finding is known where an earlier load brought the same cells with the same fault; an orphan where the same row named
-- the same missing id. released_by: the load that has mended the known one since.
-- One that an earlier version kept without the layout by which it was read is known, and kept anew.
-- Inputs: found, staged_files, file_layouts, raw.findings.
CREATE OR REPLACE TEMP TABLE numbered_findings AS
WITH ours AS (
    SELECT staged_files.file, staged_files."table", file_layouts.layout, found.rowid AS found_no, found.*
    FROM found
    INNER JOIN staged_files ON staged_files.file_no = found.file_no
    LEFT JOIN file_layouts ON file_layouts.file_no = found.file_no
),

matched AS (
    SELECT
        ours.found_no,
        earlier.reject_no,
        earlier.rule = ours.rule AND earlier."column" = ours."column" AS is_same,
        earlier.released_by,
        earlier.layout IS NOT NULL OR ours.layout IS NULL AS has_layout
    FROM ours
    INNER JOIN raw.findings AS earlier ON earlier."table" = ours."table" AND earlier.cells = ours.cells
    UNION ALL
    SELECT ours.found_no, earlier.reject_no, earlier."column" = ours."column" AND earlier.value = ours.value, earlier.released_by,
        true
    FROM ours
    INNER JOIN raw.findings AS earlier ON earlier."table" = ours."table" AND earlier.row_key = ours.row_key
    WHERE ours.rule = 'orphan' AND earlier.rule = 'orphan'
),

known AS (
    SELECT
        found_no,
        min(reject_no) AS reject_no,
        bool_or(is_same AND has_layout) AS is_known,
        min(released_by) FILTER (WHERE is_same) AS released_by
    FROM matched
    GROUP BY found_no
)

SELECT
    ours.*,
    coalesce(
        known.reject_no,
        1000 * (
            (SELECT coalesce(max(reject_no), 0) // 1000 FROM raw.findings)
            + dense_rank() OVER (PARTITION BY known.reject_no IS NULL ORDER BY ours."table", ours.cells)
        ) + md5_number_lower(ours.cells) % 1000
    )::BIGINT AS reject_no,
    coalesce(known.is_known, false) AS is_known,
    known.released_by
FROM ours
LEFT JOIN known ON known.found_no = ours.found_no;
