-- Answers: the rejected rows of one table in the table's own columns, to be mended and loaded again. Grain and key: one
-- row a reject (reject_no). Inputs: raw.rejects.
SELECT
    {cells},
    reject_no,
    string_agg(DISTINCT rule, '; ' ORDER BY rule) AS rule,
    string_agg(DISTINCT "column", '; ' ORDER BY "column") AS "column",
    string_agg(DISTINCT words, ' ' ORDER BY words)
    || coalesce(' Received: ' || json_extract_string(any_value(cells), '$.row'), '') AS words
FROM raw.rejects
WHERE "table" = $table
GROUP BY reject_no
ORDER BY min(load_id), min(file), min(line), reject_no;
