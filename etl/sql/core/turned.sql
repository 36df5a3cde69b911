-- Makes: turned_{table}, the touched ids that came to core.{table} or went from it, and sessions_of_{table}, the sessions whose rows
-- there were touched, before or after. Grain and key: one row an id; one row a session.
-- Inputs: stood_in_{table} as it was before, touched_{table}, core.{table}.
CREATE OR REPLACE TEMP TABLE turned_{table} AS
WITH now_in AS (
    SELECT DISTINCT core."{id}" AS id
    FROM core."{table}" AS core
    WHERE core."{id}" IN (SELECT id FROM touched_{table})
)

SELECT coalesce(stood.id, now_in.id) AS id
FROM (SELECT DISTINCT id FROM stood_in_{table}) AS stood
FULL JOIN now_in ON now_in.id = stood.id
WHERE stood.id IS NULL OR now_in.id IS NULL;

CREATE OR REPLACE TEMP TABLE sessions_of_{table} AS
SELECT session_id FROM stood_in_{table} WHERE session_id IS NOT NULL
UNION
SELECT {session} AS session_id FROM core."{table}" AS core
WHERE core."{id}" IN (SELECT id FROM touched_{table}) AND {session} IS NOT NULL;
