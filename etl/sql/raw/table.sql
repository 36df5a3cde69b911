-- Makes: raw.{table}, the rows that passed the rules on their own cells, as received, every version of them.
-- Grain: one row a key and load; current where superseded_by is null. Key: {key}, load_id. Inputs: the catalogue.
CREATE TABLE IF NOT EXISTS raw."{table}" (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    record BIGINT NOT NULL,
    superseded_by INTEGER,
    {columns}
);
