-- Answers: how many records each of some files has staged and how many of them are rejected or faulty in
-- any cell. Grain and key: file_no. Inputs: staged_{table}.
SELECT
    file_no,
    count(*) AS n,
    count(*) FILTER (WHERE NOT is_sound) AS unsound,
    count(*) FILTER (WHERE NOT is_whole) AS faulty
FROM staged_{table}
WHERE rowid >= $first
GROUP BY file_no;
