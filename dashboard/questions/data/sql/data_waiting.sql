-- Answers: what waits, and for what. Grain and key: load_id, file, table, column, value. Inputs: raw.waiting, raw.files.
SELECT waiting.load_id, files.file, waiting."table", waiting."column", waiting.value, sum(waiting.n)::BIGINT AS n
FROM raw.waiting AS waiting
INNER JOIN raw.files AS files ON files.load_id = waiting.load_id AND files.file_no = waiting.file_no
GROUP BY waiting.load_id, files.file, waiting."table", waiting."column", waiting.value
ORDER BY n DESC, waiting.load_id, files.file, waiting."table", waiting."column", waiting.value;
