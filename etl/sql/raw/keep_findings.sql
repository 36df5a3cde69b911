-- Adds: this load's findings to raw.findings. Grain: one row a rule and record. Inputs: numbered_findings.
INSERT INTO raw.findings (
    load_id, file_no, file, record, line, "table", "column", rule, value, words, received, cells, row_key, reject_no, released_by,
    layout, source_record, changes, is_cell
)
SELECT
    $load_id, file_no, file, record, line, "table", "column", rule, value, words, received, cells, row_key,
    reject_no, CASE WHEN rule <> 'orphan' THEN released_by END, layout, source_record, changes, is_cell
FROM numbered_findings
ORDER BY file_no, line, found_no;
