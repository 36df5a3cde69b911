-- Adds: this load's findings to raw.rejects, each once however often its row is loaded again. Grain: one row a finding.
-- Inputs: findings, staged_files.
INSERT INTO raw.rejects (load_id, file, line, "table", "column", rule, value, words, received, row_key)
SELECT
    $load_id, staged_files.file, findings.line, staged_files."table",
    findings."column", findings.rule, findings.value, findings.words, findings.received, findings.row_key
FROM findings
INNER JOIN staged_files ON staged_files.file_no = findings.file_no
ANTI JOIN raw.rejects AS known
    ON known."table" = staged_files."table"
    AND known.received = findings.received
    AND known."column" = findings."column"
    AND known.rule = findings.rule
ORDER BY findings.file_no, findings.line, findings.record;
