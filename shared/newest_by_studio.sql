-- Answers: the date of the newest fit of each studio. Grain and key: one row a studio (studio_id). Inputs: core.fit_sessions.
SELECT studio_id, max(session_date) AS newest_row
FROM core.fit_sessions
GROUP BY studio_id
ORDER BY studio_id;
