-- Answers: how many fits there are, and in how many of them there is a repeat, an exam and a booking. Grain: one row.
-- Inputs: mart.fits, mart.capture_facts, core.foot_exams, core.follow_ups.
SELECT
    count(*)::BIGINT AS n_fits,
    count(*) FILTER (WHERE fit_no IN (SELECT fit_no FROM mart.capture_facts WHERE is_repeat))::BIGINT AS n_repeats,
    count(*) FILTER (WHERE session_id IN (SELECT session_id FROM core.foot_exams))::BIGINT AS n_exams,
    count(*) FILTER (WHERE session_id IN (SELECT session_id FROM core.follow_ups))::BIGINT AS n_bookings
FROM mart.fits
WHERE n_captures > 0;
