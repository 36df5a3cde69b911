-- Adds: a finding for each row of a recorded load that is an orphan now and was never found as this one.
-- Grain: one row a version. Inputs: raw.unresolved, raw.findings, raw.{table}, raw.files, raw.line_jumps.
INSERT INTO raw.findings (
    load_id, file_no, file, record, line, "table", "column", rule, value, words, received, cells, row_key, reject_no, released_by,
    layout, source_record, changes, is_cell
)
WITH lost AS (
    SELECT unresolved.*
    FROM raw.unresolved AS unresolved
    ANTI JOIN raw.findings AS findings
        ON
            findings."table" = unresolved."table"
            AND findings.rule = 'orphan'
            AND findings.row_key = unresolved.row_key
            AND findings."column" = unresolved."column"
            AND findings.value = unresolved.value
    WHERE unresolved."table" = '{table}' AND NOT unresolved.is_waiting
)

SELECT
    version.load_id, version.file_no, files.file, version.record, {line}, '{table}', lost."column", 'orphan', lost.value,
    lost."column" || ': found ' || lost.value || {words}, {cells}, {cells}, lost.row_key,
    1000 * (
        (SELECT coalesce(max(reject_no), 0) // 1000 FROM raw.findings)
        + row_number() OVER (ORDER BY version.load_id, version.file_no, version.record)
    ) + md5_number_lower({cells}) % 1000,
    NULL, NULL, NULL, NULL, false
FROM lost
INNER JOIN raw."{table}" AS version
    ON version.load_id = lost.load_id AND version.file_no = lost.file_no AND version.record = lost.record
INNER JOIN raw.files AS files ON files.load_id = version.load_id AND files.file_no = version.file_no
ORDER BY version.load_id, version.file_no, version.record;
