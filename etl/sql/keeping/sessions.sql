-- Answers: the sessions of some riders. Grain and key: one row a session (session_id).
-- Theirs are those whose current row names them, and those that were never stored and are named in a rejected row.
-- $more: sessions known to be theirs from elsewhere, unless the current row here names another rider.
-- Inputs: raw.fit_sessions, raw.findings.
SELECT session_id
FROM raw.fit_sessions
WHERE superseded_by IS NULL AND rider_id IN (SELECT unnest($riders))
UNION
SELECT trim(json_extract_string(cells, '$.session_id')) AS session_id
FROM raw.findings
WHERE
    "table" = 'fit_sessions'
    AND trim(json_extract_string(cells, '$.rider_id')) IN (SELECT unnest($riders))
    AND trim(json_extract_string(cells, '$.session_id')) <> ''
    AND trim(json_extract_string(cells, '$.session_id')) NOT IN (SELECT session_id FROM raw.fit_sessions)
UNION
SELECT known.session_id
FROM (SELECT unnest($more) AS session_id) AS known
ANTI JOIN raw.fit_sessions AS others
    ON
        others.session_id = known.session_id
        AND others.superseded_by IS NULL
        AND others.rider_id NOT IN (SELECT unnest($riders))
ORDER BY session_id;
