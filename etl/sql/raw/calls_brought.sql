-- Answers: what a load brought of the follow-ups of some fits. Grain and key: one row a fit (session_id): its visit where it was
-- attended, else its latest booking. day: attended on, or due on. Inputs: raw.follow_ups.
SELECT
    session_id,
    arg_max(state, (state = 'attended', due_on)) AS state,
    arg_max(coalesce(attended_on, due_on), (state = 'attended', due_on)) AS day
FROM raw.follow_ups
WHERE load_id = $load_id AND superseded_by IS NULL AND list_contains(CAST($sessions AS VARCHAR[]), session_id)
GROUP BY session_id
ORDER BY session_id;
