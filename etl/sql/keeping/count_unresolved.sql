-- Answers: how many current rows that core leaves out name one of owned_ids. Grain: one row. Inputs: raw.unresolved, owned_ids.
SELECT count(*) AS n
FROM raw.unresolved
WHERE value IN (SELECT id FROM owned_ids) OR split_part(row_key, '|', 1) IN (SELECT id FROM owned_ids);
