-- Makes: spread, the middle and the robust standard deviation of one column in each studio and kind.
-- Grain and key: one row a studio and kind (studio_id, kind) with enough values that are not all alike.
-- Counted by distinct value: exports are rounded, so that this is far cheaper than sorting every row.
-- sigma: 1.4826 times the median absolute deviation, the standard deviation where values are normal (Rousseeuw and Croux
-- 1993, J Am Stat Assoc 88:1273). Inputs: core.{table}.
CREATE OR REPLACE TEMP TABLE spread AS
WITH counted AS (
    SELECT {studio} AS studio_id, {kind} AS kind, source."{column}" AS value, count(*) AS n
    FROM core."{table}" AS source {sessions}
    WHERE source."{column}" IS NOT NULL
    GROUP BY ALL
),

running AS (
    SELECT
        studio_id,
        kind,
        value,
        sum(n) OVER (PARTITION BY studio_id, kind ORDER BY value) AS n_up_to,
        sum(n) OVER (PARTITION BY studio_id, kind) AS n_all
    FROM counted
),

middle AS (
    SELECT studio_id, kind, min(value) AS median, any_value(n_all) AS n_all
    FROM running
    WHERE 2 * n_up_to >= n_all AND n_all >= $warnings_spread_values
    GROUP BY studio_id, kind
),

deviations AS (
    SELECT
        counted.studio_id,
        counted.kind,
        abs(counted.value - middle.median) AS deviation,
        sum(sum(counted.n)) OVER (
            PARTITION BY counted.studio_id, counted.kind ORDER BY abs(counted.value - middle.median)
        ) AS n_up_to,
        any_value(middle.n_all) AS n_all,
        any_value(middle.median) AS median
    FROM counted
    INNER JOIN middle ON middle.studio_id = counted.studio_id AND middle.kind = counted.kind
    GROUP BY counted.studio_id, counted.kind, abs(counted.value - middle.median)
)

SELECT
    studio_id,
    kind,
    any_value(median) AS median,
    1.4826 * min(deviation) FILTER (WHERE 2 * n_up_to >= n_all) AS sigma,
    max(deviation) AS largest
FROM deviations
GROUP BY studio_id, kind
HAVING sigma > 0;
