-- Answers: how many rows each load left out, by rule, as it was when they were loaded. Grain and key: load_id, state, rule.
-- Inputs: raw.findings, raw.files.
SELECT load_id, 'rejected' AS state, rule, count(DISTINCT (file_no, line)) AS n
FROM raw.findings
WHERE NOT is_cell
GROUP BY load_id, rule
UNION ALL
SELECT load_id, 'waiting' AS state, 'waiting' AS rule, sum(waiting)::BIGINT AS n
FROM raw.files
GROUP BY load_id
HAVING sum(waiting) > 0
ORDER BY load_id, state, n DESC, rule;
