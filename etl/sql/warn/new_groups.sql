-- Answers: the warnings that this load brings about, counted, with three examples each. Grain: one row a rule, table and
-- column. Inputs: raw.warnings, earlier_warnings.
SELECT
    warnings.rule,
    warnings."table",
    warnings."column",
    count(*) AS n,
    -- The first three only: a list of all would have to be held in memory.
    arg_min(
        struct_pack(row_key := warnings.row_key, words := warnings.words), warnings.row_key, 3
    ) AS examples
FROM raw.warnings AS warnings
ANTI JOIN earlier_warnings AS earlier
    ON
        earlier.rule = warnings.rule
        AND earlier."table" = warnings."table"
        AND earlier."column" = warnings."column"
        AND earlier.row_key = warnings.row_key
        AND earlier.value IS NOT DISTINCT FROM warnings.value
GROUP BY warnings.rule, warnings."table", warnings."column"
ORDER BY warnings.rule, warnings."table", warnings."column";
