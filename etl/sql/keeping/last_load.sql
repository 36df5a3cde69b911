-- Answers: the last load that stands, how far the data reach, and how many rejects stand. Grain: one row.
-- Inputs: raw.loads, core.fit_sessions, raw.rejects.
SELECT
    (SELECT max(load_id) FROM raw.loads WHERE undone_at IS NULL) AS load_id,
    (SELECT max(loaded_at) FROM raw.loads WHERE undone_at IS NULL) AS loaded_at,
    (SELECT max(session_date) FROM core.fit_sessions) AS last_date,
    (SELECT count(DISTINCT ("table", reject_no)) FROM raw.rejects) AS n_rejects;
