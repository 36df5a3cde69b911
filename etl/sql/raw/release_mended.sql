-- Removes: earlier rejects of one table whose key this load stored or replaced, and orphans whose parent has come.
-- Inputs: raw.rejects, staged_{table}, fates_{table}, unresolved_{table}.
DELETE FROM raw.rejects
WHERE
    "table" = '{table}'
    AND load_id < $load_id
    AND (
        (
            rule <> 'orphan'
            AND row_key IN (
                SELECT {staged_row_key}
                FROM staged_{table} AS staged
                INNER JOIN fates_{table} AS fates ON staged.rowid = fates.staged_row
                WHERE fates.fate IN ('stored', 'replaced')
            )
        )
        OR (
            rule = 'orphan'
            AND row_key NOT IN (SELECT {unresolved_row_key} FROM unresolved_{table} AS unresolved WHERE NOT is_waiting)
        )
    );
