-- Makes: moved_fits, the fits of which a row of a mart may have changed: their sessions were touched, their numbers are others than
-- before, or those of the visit at which they were followed up. Grain and key: one row a session (session_id).
-- earlier_no: the fit's number before, NULL where it is new; fit_no: its number now, NULL where it is gone.
-- Inputs: mart.fit_numbers, earlier_numbers, touched_sessions, core.follow_ups.
CREATE OR REPLACE TEMP TABLE moved_fits AS
WITH compared AS (
    SELECT
        coalesce(numbers.session_id, earlier.session_id) AS session_id,
        earlier.fit_no AS earlier_no,
        numbers.fit_no,
        earlier.fit_no IS DISTINCT FROM numbers.fit_no AS is_renumbered,
        earlier.visit_no IS DISTINCT FROM numbers.visit_no AS is_another_visit
    FROM mart.fit_numbers AS numbers
    FULL JOIN earlier_numbers AS earlier ON earlier.session_id = numbers.session_id
),

renumbered AS (
    SELECT session_id
    FROM compared
    WHERE is_renumbered
),

followed AS (
    SELECT follow_ups.session_id
    FROM core.follow_ups AS follow_ups
    WHERE follow_ups.returned_session_id IN (SELECT session_id FROM renumbered)
)

SELECT session_id, earlier_no, fit_no
FROM compared
WHERE
    is_renumbered
    OR is_another_visit
    OR session_id IN (SELECT session_id FROM touched_sessions)
    OR session_id IN (SELECT session_id FROM followed);
