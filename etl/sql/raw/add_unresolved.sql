-- Makes: one table's part of raw.unresolved, anew. Grain: one row a current version that core leaves out.
-- Inputs: unresolved_{table}.
DELETE FROM raw.unresolved WHERE "table" = '{table}';

INSERT INTO raw.unresolved
SELECT '{table}', load_id, file_no, record, {row_key}, column_name, value, is_waiting
FROM unresolved_{table} AS unresolved
ORDER BY load_id, file_no, record;
