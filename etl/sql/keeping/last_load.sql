-- Answers: the newest load that stands with its own time, the load that says the latest time (another one where the clock was
-- set back since), how far the data reach, and how many rejects stand. Grain: one row.
-- Inputs: raw.loads, core.fit_sessions, raw.rejects.
SELECT
    max(load_id) AS load_id,
    arg_max(loaded_at, load_id) AS loaded_at,
    arg_max(load_id, loaded_at) AS latest_id,
    max(loaded_at) AS latest_at,
    (SELECT max(session_date) FROM core.fit_sessions) AS last_date,
    (SELECT count(DISTINCT ("table", reject_no)) FROM raw.rejects) AS n_rejects
FROM raw.loads
WHERE undone_at IS NULL;
