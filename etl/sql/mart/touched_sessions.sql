-- Makes: touched_sessions, the sessions of which a load touched a row of any table, or their rider's own. Grain and key: session_id.
-- Inputs: sessions_of_*, as {sessions} joins them, and the riders that {riders} names; core.fit_sessions.
CREATE OR REPLACE TEMP TABLE touched_sessions AS
SELECT DISTINCT session_id
FROM (
    SELECT CAST(NULL AS VARCHAR) AS session_id WHERE false
    {sessions}
    UNION ALL
    SELECT session_id FROM core.fit_sessions WHERE {riders}
);
