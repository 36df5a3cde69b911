-- Answers: the findings of this load. Grain: one row a rule and rejected row. Inputs: findings, staged_files.
SELECT staged_files.file, findings.line, findings."column", findings.rule, findings.value, findings.words
FROM findings
INNER JOIN staged_files ON staged_files.file_no = findings.file_no
ORDER BY findings.file_no, findings.line, findings.record;
