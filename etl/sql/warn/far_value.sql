-- Adds: a warning for each value of one column far outside its studio's own spread. Grain: one row a row of core.{table}.
-- Inputs: core.{table}, spread.
INSERT INTO raw.warnings
SELECT
    'far_value', '{table}', '{column}', {row_key}, {session_id}, CAST(source."{column}" AS VARCHAR),
    '{column} ' || source."{column}" || ' is far outside this studio''s own spread (half of its '
    || 'values lie within ' || format('{:.3g}', spread.sigma * 0.6745) || ' of ' || format('{:.4g}', CAST(spread.median AS DOUBLE))
    || '). Check the value, its unit and its sign.'
FROM core."{table}" AS source {sessions}
INNER JOIN spread ON spread.studio_id = {studio} AND spread.kind = {kind}
WHERE abs(source."{column}" - spread.median) > $warnings_spread_sigmas * spread.sigma
ORDER BY {row_key};
