-- Makes: fates_{table}, what becomes of each staged row. Grain and key: one row a sound staged row (staged_row).
-- fate: duplicate (its key stands again in this load with other content), unchanged, replaced or stored.
-- Inputs: staged_{table}, repeated_{table}, raw.{table}.
CREATE OR REPLACE TEMP TABLE fates_{table} AS
SELECT
    staged.rowid AS staged_row,
    staged.file_no,
    CASE
        WHEN repeated.is_duplicate THEN 'duplicate'
        WHEN staged.rowid > repeated.first_row THEN 'unchanged'
        WHEN earlier.load_id IS NULL THEN 'stored'
        WHEN {same_content} THEN 'unchanged'
        ELSE 'replaced'
    END AS fate
FROM staged_{table} AS staged
LEFT JOIN repeated_{table} AS repeated ON {same_key_as_repeated}
LEFT JOIN raw."{table}" AS earlier ON earlier.superseded_by IS NULL AND {same_key_as_earlier}
WHERE staged.is_sound;
