-- Answers: the findings of this load. Grain: one row a rule and rejected row. Inputs: found, staged_files.
SELECT staged_files.file, found.line, found."column", found.rule, found.value, found.words, found.is_cell
FROM found
INNER JOIN staged_files ON staged_files.file_no = found.file_no
ORDER BY found.file_no, found.line, found.rowid;
