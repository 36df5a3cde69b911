-- Answers: what the warehouse holds of one table. Grain: one row. Inputs: core.{table}, raw.waiting, raw.rejects, raw.findings.
-- cells: faulty cells that were left out of rows that are stored; those rows are not among the rejected ones.
WITH faulty_cells AS (
    SELECT DISTINCT reject_no, "column"
    FROM raw.findings
    WHERE "table" = '{table}' AND is_cell AND released_by IS NULL
)

SELECT
    '{table}' AS "table",
    (SELECT count(*) FROM core."{table}") AS stored,
    (SELECT coalesce(sum(n), 0)::BIGINT FROM raw.waiting WHERE "table" = '{table}') AS waiting,
    (
        SELECT count(DISTINCT rejects.received)
        FROM raw.rejects AS rejects
        ANTI JOIN faulty_cells ON faulty_cells.reject_no = rejects.reject_no
        WHERE rejects."table" = '{table}'
    ) AS rejected,
    (SELECT count(*) FROM faulty_cells) AS cells,
    {first_date} AS first_date,
    {last_date} AS last_date;
