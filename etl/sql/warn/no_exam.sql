-- Adds: a warning for each session without an exam, where exams are recorded at all. Grain: one row a session. Inputs: core.fit_sessions, core.foot_exams.
INSERT INTO raw.warnings
SELECT
    'no_exam', 'fit_sessions', 'session_id', sessions.session_id, sessions.session_id, sessions.session_id,
    'no row in foot_exams, so that figures by foot type leave the session out. Load its exam, if there was one.'
FROM core.fit_sessions AS sessions
ANTI JOIN core.foot_exams AS exams ON exams.session_id = sessions.session_id
WHERE EXISTS (SELECT 1 FROM core.foot_exams);
