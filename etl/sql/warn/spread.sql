-- Makes: spread, the middle and the robust standard deviation of one column in each studio and kind.
-- Grain and key: one row a studio and kind (studio_id, kind) with enough values that are not all alike.
-- sigma: 1.4826 times the median absolute deviation, the standard deviation where values are normal (Rousseeuw and Croux
-- 1993, J Am Stat Assoc 88:1273). Inputs: running_values.
CREATE OR REPLACE TEMP TABLE spread AS
WITH middle AS (
    SELECT studio_id, kind, min(value) AS median
    FROM running_values
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
        any_value(counted.n_all) AS n_all,
        any_value(middle.median) AS median
    FROM running_values AS counted
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
