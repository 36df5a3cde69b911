-- Answers: the findings of a load that hold by now. Grain: one row a rule and rejected row. Inputs: raw.findings.
SELECT file, line, "column", rule, value, words, is_cell
FROM raw.findings
WHERE load_id = $load_id AND (rule <> 'orphan' OR released_by IS NULL)
ORDER BY file_no, line, rowid;
