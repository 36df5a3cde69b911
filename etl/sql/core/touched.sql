-- Makes: touched_{table}, the ids (first part of the key) of which a load may have changed rows of core.{table}: those it brought
-- versions of, and those whose parent came or went. Grain and key: one row an id. Inputs: raw.{table}, turned_*.
CREATE OR REPLACE TEMP TABLE touched_{table} AS
SELECT DISTINCT id
FROM (
    SELECT version."{id}" AS id
    FROM raw."{table}" AS version
    WHERE version.load_id = $load_id
    {of_parents}
);
