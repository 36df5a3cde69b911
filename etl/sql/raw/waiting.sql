-- Makes: one table's part of raw.waiting, anew. Grain: one row a load, file, column and missing session.
-- Inputs: unresolved_{table}.
DELETE FROM raw.waiting WHERE "table" = '{table}';

INSERT INTO raw.waiting
SELECT '{table}', load_id, file_no, column_name, value, count(*)
FROM unresolved_{table}
WHERE is_waiting
GROUP BY load_id, file_no, column_name, value
ORDER BY load_id, file_no, column_name, value;
