-- Answers: the soft warnings on what the warehouse holds, counted, with up to three examples. Grain and key: one row a
-- rule, table and column. Inputs: raw.warnings.
SELECT
    rule,
    "table",
    "column",
    count(*) AS n,
    arg_min(struct_pack(row_key := row_key, words := words), row_key, 3) AS examples
FROM raw.warnings
GROUP BY rule, "table", "column"
ORDER BY n DESC, rule, "table", "column";
