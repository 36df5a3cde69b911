-- Answers: the latest date seen in any table (a date that lies ahead, due_on, is not seen yet). Grain: one row. Inputs: core.*.
SELECT greatest(
    (SELECT max(session_date) FROM core.fit_sessions),
    (SELECT CAST(max(captured_at) AS DATE) FROM core.knee_captures),
    (SELECT max(greatest(booked_on, attended_on)) FROM core.follow_ups)
) AS as_of;
