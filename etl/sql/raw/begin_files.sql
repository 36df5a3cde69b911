-- Adds: the files that were staged to staged_files. Grain and key: file_no. Inputs: begun, staged_{table}.
INSERT INTO staged_files
SELECT begun.file_no, begun.file, '{table}', coalesce(min(staged.rowid), 0)
FROM begun
LEFT JOIN staged_{table} AS staged ON staged.file_no = begun.file_no
GROUP BY begun.file_no, begun.file
ORDER BY begun.file_no;
