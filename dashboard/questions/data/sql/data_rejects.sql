-- Answers: every finding of a rejected row. Grain: one row a finding. Inputs: raw.rejects.
SELECT load_id, file, line, "table", "column", rule, value, words, received
FROM raw.rejects
ORDER BY load_id, file, line, reject_no;
