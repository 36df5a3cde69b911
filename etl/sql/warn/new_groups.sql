-- Answers: the warnings that this load brings about, counted, with three examples each. Grain: one row a rule, table and
-- column. Inputs: raw.warnings, earlier_warnings.
SELECT
    warnings.rule,
    warnings."table",
    warnings."column",
    count(*) AS n,
    list(warnings.row_key || ': ' || warnings.words ORDER BY warnings.row_key)[1:3] AS examples
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
