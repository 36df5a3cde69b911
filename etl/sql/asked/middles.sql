-- Answers: the middle of one column, and between which values the middle half of it lies. Grain and key: one row a studio and
-- side (studio_no, side) with at least so many values. Inputs: core.{table}, core.fit_sessions, mart.fits.
-- Counted by distinct value, since exports are rounded.
WITH counted AS (
    SELECT {studio} AS studio_id, {side} AS side, source."{column}" AS value, count(*) AS n
    FROM core."{table}" AS source {sessions}
    WHERE source."{column}" IS NOT NULL
    GROUP BY ALL
),

running AS (
    SELECT
        studio_id,
        side,
        value,
        sum(n) OVER (PARTITION BY studio_id, side ORDER BY value) AS n_up_to,
        sum(n) OVER (PARTITION BY studio_id, side) AS n_all
    FROM counted
)

SELECT
    studio_id,
    side,
    any_value(n_all)::BIGINT AS n,
    (min(value) FILTER (WHERE 4 * n_up_to >= n_all))::DOUBLE AS low,
    (min(value) FILTER (WHERE 2 * n_up_to >= n_all))::DOUBLE AS middle,
    (min(value) FILTER (WHERE 4 * n_up_to >= 3 * n_all))::DOUBLE AS high
FROM running
WHERE n_all >= $least
GROUP BY studio_id, side
ORDER BY studio_id, side;
