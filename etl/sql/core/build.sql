-- Makes: core.{table}, the current rows whose keys name something. Grain and key: {key}. Inputs: raw.{table}, its parents' core.
CREATE OR REPLACE TABLE core."{table}" AS
SELECT {columns}
FROM raw."{table}" AS version {named}
WHERE version.superseded_by IS NULL {resolved}
ORDER BY {key};
