-- Answers: how many records each of some files has staged and how many of them are rejected or faulty in
-- any cell. Grain and key: file_no.
-- first_row: where they begin; is_together: whether they stand in one run. Inputs: staged_{table}.
SELECT
    file_no,
    min(rowid) AS first_row,
    max(rowid) - min(rowid) + 1 = count(*) AS is_together,
    count(*) AS n,
    count(*) FILTER (WHERE NOT is_sound) AS unsound,
    count(*) FILTER (WHERE NOT is_whole) AS faulty
FROM staged_{table}
WHERE rowid >= $first
GROUP BY file_no
ORDER BY first_row;
