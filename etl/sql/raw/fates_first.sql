-- Makes: fates_{table} where raw.{table} is empty and no key is repeated: every sound row is stored.
-- Grain and key: one row a sound staged row (staged_row). Inputs: staged_{table}.
CREATE OR REPLACE TEMP TABLE fates_{table} AS
SELECT rowid AS staged_row, file_no, 'stored' AS fate
FROM staged_{table}
WHERE is_sound;
