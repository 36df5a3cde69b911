-- Makes: raw.waiting, anew: the rows that wait for their session. Grain: one row a table, load, file and missing session.
-- Inputs: unresolved_*, collected table by table.
CREATE TABLE IF NOT EXISTS raw.waiting (
    "table" VARCHAR NOT NULL,
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    "column" VARCHAR NOT NULL,
    value VARCHAR NOT NULL,
    n BIGINT NOT NULL
);

DELETE FROM raw.waiting WHERE "table" = '{table}';

INSERT INTO raw.waiting
SELECT '{table}', load_id, file_no, column_name, value, count(*)
FROM unresolved_{table}
WHERE is_waiting
GROUP BY load_id, file_no, column_name, value
ORDER BY load_id, file_no, column_name, value;
