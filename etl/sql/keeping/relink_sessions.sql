-- Makes: the chain of versions of each session whole, where a version between two others named a forgotten rider.
-- Grain: raw.fit_sessions. Inputs: raw.fit_sessions.
UPDATE raw.fit_sessions AS version
SET superseded_by = chain.next_load
FROM (
    SELECT
        session_id, load_id, file_no, record,
        lead(load_id) OVER (PARTITION BY session_id ORDER BY load_id, file_no, record) AS next_load
    FROM raw.fit_sessions
) AS chain
WHERE
    chain.load_id = version.load_id
    AND chain.file_no = version.file_no
    AND chain.record = version.record
    AND chain.next_load IS DISTINCT FROM version.superseded_by;
