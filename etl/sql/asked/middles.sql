-- Answers: the middle of one column, and between which values the middle half of it lies. Grain and key: one row a studio and
-- side (studio_no, side) with at least so many values. Inputs: running_values, by side.
SELECT
    studio_id,
    kind AS side,
    any_value(n_all)::BIGINT AS n,
    (min(value) FILTER (WHERE 4 * n_up_to >= n_all))::DOUBLE AS low,
    (min(value) FILTER (WHERE 2 * n_up_to >= n_all))::DOUBLE AS middle,
    (min(value) FILTER (WHERE 4 * n_up_to >= 3 * n_all))::DOUBLE AS high
FROM running_values
WHERE n_all >= $least
GROUP BY studio_id, kind
ORDER BY studio_id, kind;
