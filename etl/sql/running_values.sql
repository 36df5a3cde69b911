-- Makes: running_values, the values of one column and how many lie up to each, of each studio and kind; for medians and quartiles.
-- Grain and key: one row a studio, kind and distinct value (studio_id, kind, value). Inputs: core.{table}, core.fit_sessions.
-- Counted by distinct value: exports are rounded, so that this is far cheaper than sorting every row.
CREATE OR REPLACE TEMP TABLE running_values AS
WITH counted AS (
    SELECT {studio} AS studio_id, {kind} AS kind, source."{column}" AS value, count(*) AS n
    FROM core."{table}" AS source {sessions}
    WHERE source."{column}" IS NOT NULL
    GROUP BY ALL
)

SELECT
    studio_id,
    kind,
    value,
    n,
    sum(n) OVER (PARTITION BY studio_id, kind ORDER BY value) AS n_up_to,
    sum(n) OVER (PARTITION BY studio_id, kind) AS n_all
FROM counted;
