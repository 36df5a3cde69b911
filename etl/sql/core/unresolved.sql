-- Makes: unresolved_{table}, the current rows that core.{table} leaves out. Grain and key: {key}.
-- column_name, value: the first reference that names nothing; is_waiting: it names a session, which may still come.
-- is_left_out: false where counting has shown that there is none. Inputs: raw.{table}, core.{table} and its parents.
CREATE OR REPLACE TEMP TABLE unresolved_{table} AS
SELECT
    version.load_id,
    version.file_no,
    version.record,
    {key},
    {column_name} AS column_name,
    {value} AS value,
    {is_waiting} AS is_waiting
FROM raw."{table}" AS version
ANTI JOIN core."{table}" AS resolved ON {same_key}
WHERE version.superseded_by IS NULL AND {is_left_out};
