-- Answers: why rows are not in the figures. Grain and key: state, table, rule. Inputs: raw.rejects, raw.waiting.
SELECT
    'rejected' AS state,
    "table",
    rule,
    count(DISTINCT received) AS n,
    first(words ORDER BY reject_no) AS words
FROM raw.rejects
GROUP BY "table", rule
UNION ALL
SELECT
    'waiting' AS state,
    "table",
    'waiting' AS rule,
    sum(n)::BIGINT AS n,
    'These rows wait for their session; they join by themselves when it is loaded.' AS words
FROM raw.waiting
GROUP BY "table"
ORDER BY state, n DESC, "table", rule;
