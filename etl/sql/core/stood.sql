-- Makes: stood_in_{table}, the touched ids that core.{table} holds, with the sessions of their rows. Grain: one row an id and session.
-- Inputs: touched_{table}, core.{table}.
CREATE OR REPLACE TEMP TABLE stood_in_{table} AS
SELECT DISTINCT core."{id}" AS id, {session} AS session_id
FROM core."{table}" AS core
WHERE core."{id}" IN (SELECT id FROM touched_{table});
