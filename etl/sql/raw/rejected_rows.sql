-- Answers: the rejects of one table that stand, each with the finding that it is written from: of those whose layout is known
-- the last one. columns and words tell all that is wrong with it. Grain and key: one row a reject (reject_no).
-- is_lost: it was read by a mapping that was not kept. Inputs: raw.rejects, raw.findings, raw.files.
WITH standing AS (
    SELECT
        reject_no,
        string_agg(DISTINCT rule, '; ' ORDER BY rule) AS rule,
        list(DISTINCT "column" ORDER BY "column") AS columns,
        string_agg(DISTINCT words, ' ' ORDER BY words) AS words,
        min((load_id, file, line)) AS place
    FROM raw.rejects
    WHERE "table" = $table
    GROUP BY reject_no
)

SELECT
    standing.* EXCLUDE (place),
    findings.load_id,
    findings.file_no,
    findings.layout,
    findings.source_record,
    findings.received,
    findings.cells,
    json_extract_string(findings.cells, '$.row') AS ragged,
    findings.layout IS NULL AND findings.received <> findings.cells AND contains(files.detected, '; mapping: ') AS is_lost
FROM raw.findings AS findings
INNER JOIN standing ON standing.reject_no = findings.reject_no
INNER JOIN raw.files AS files ON files.load_id = findings.load_id AND files.file_no = findings.file_no
WHERE findings."table" = $table AND findings.released_by IS NULL
QUALIFY row_number() OVER (
    PARTITION BY findings.reject_no
    ORDER BY findings.layout IS NULL, findings.load_id DESC, findings.file_no, findings.rowid
) = 1
ORDER BY standing.place, standing.reject_no;
