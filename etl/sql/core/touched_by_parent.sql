-- Adds to touched_{table}, as a part of touched.sql: the ids of rows whose parent came or went. Grain: one row a current version.
-- Inputs: raw.{table}, turned_{parent}.
UNION ALL
SELECT version."{id}" AS id
FROM raw."{table}" AS version
WHERE version.superseded_by IS NULL AND version."{column}" IN (SELECT id FROM turned_{parent})
