-- Makes: earlier_numbers, mart.fit_numbers as it stands; empty where all is made anew. Grain and key: one row a session (session_id).
CREATE OR REPLACE TEMP TABLE earlier_numbers AS
SELECT fit_no, session_id, rider_no, visit_no, arrival_no, departure_no, n_captures
FROM mart.fit_numbers;
