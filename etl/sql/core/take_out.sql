-- Removes: the rows of core.{table} whose ids a load touched. Grain: one row of core.{table}. Inputs: touched_{table}.
DELETE FROM core."{table}"
WHERE "{id}" IN (SELECT id FROM touched_{table});
