-- Answers: how many warnings speak of a row of owned_ids. Grain: one row. Inputs: raw.warnings, owned_ids.
SELECT count(*) AS n
FROM raw.warnings
WHERE session_id IN (SELECT id FROM owned_ids) OR split_part(row_key, '|', 1) IN (SELECT id FROM owned_ids);
