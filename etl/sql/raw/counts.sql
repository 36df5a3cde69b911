-- Answers: what became of each file's sound rows. Grain and key: file_no, fate.
-- fate: stored, replaced, unchanged, duplicate, waiting, orphan. Inputs: staged_{table}, fates_{table}, unresolved_{table}.
SELECT
    fates.file_no,
    CASE
        WHEN fates.fate = 'duplicate' OR unresolved.is_waiting IS NULL THEN fates.fate
        WHEN unresolved.is_waiting THEN 'waiting'
        ELSE 'orphan'
    END AS final_fate,
    count(*) AS n
FROM fates_{table} AS fates
INNER JOIN staged_{table} AS staged ON staged.rowid = fates.staged_row
LEFT JOIN unresolved_{table} AS unresolved ON {same_key}
GROUP BY ALL;
