-- Answers: why rows are not in the figures, and why cells of rows that are in them are not. Grain and key: state, table, rule.
-- Inputs: raw.rejects, raw.findings, raw.waiting. n counts rows, of the state 'cell left out' cells.
WITH faulty_cells AS (
    SELECT DISTINCT "table", reject_no, "column"
    FROM raw.findings
    WHERE is_cell AND released_by IS NULL
)

SELECT
    'rejected' AS state,
    rejects."table",
    rejects.rule,
    count(DISTINCT rejects.received) AS n,
    first(rejects.words ORDER BY rejects.reject_no) AS words
FROM raw.rejects AS rejects
ANTI JOIN faulty_cells ON faulty_cells."table" = rejects."table" AND faulty_cells.reject_no = rejects.reject_no
GROUP BY rejects."table", rejects.rule
UNION ALL
SELECT
    'cell left out' AS state,
    rejects."table",
    rejects.rule,
    count(DISTINCT (rejects.reject_no, rejects."column")) AS n,
    first(rejects.words ORDER BY rejects.reject_no) AS words
FROM raw.rejects AS rejects
SEMI JOIN faulty_cells ON faulty_cells."table" = rejects."table" AND faulty_cells.reject_no = rejects.reject_no
GROUP BY rejects."table", rejects.rule
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
