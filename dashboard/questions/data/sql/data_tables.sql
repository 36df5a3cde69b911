-- Answers: what the warehouse holds of one table. Grain: one row. Inputs: core.{table}, raw.waiting, raw.rejects.
SELECT
    '{table}' AS "table",
    (SELECT count(*) FROM core."{table}") AS stored,
    (SELECT coalesce(sum(n), 0)::BIGINT FROM raw.waiting WHERE "table" = '{table}') AS waiting,
    (SELECT count(DISTINCT received) FROM raw.rejects WHERE "table" = '{table}') AS rejected,
    {first_date} AS first_date,
    {last_date} AS last_date;
