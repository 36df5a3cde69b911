-- Answers how many visits hold how many captures.
-- Grain: one row a number of captures. Key: captures.
SELECT
    captures,
    count(*) AS visits
FROM (
    SELECT
        fit_sessions.session_id,
        count(DISTINCT knee_captures.capture_no) AS captures
    FROM core.fit_sessions
    LEFT JOIN core.knee_captures ON fit_sessions.session_id = knee_captures.session_id
    GROUP BY fit_sessions.session_id
)
GROUP BY captures
ORDER BY captures
