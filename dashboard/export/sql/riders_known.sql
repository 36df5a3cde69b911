-- Answers: what others may know of each rider of out_fits, fit by fit: who they are and where, when and why they came.
-- Grain and key: one row a fit (session_id), riders together, in the order of their visits. Inputs: out_fits.
SELECT
    rider_id,
    session_id,
    studio_id,
    session_date,
    visit_kind,
    bike_kind,
    riding,
    sex,
    age_band
FROM out_fits
ORDER BY rider_id, session_date, session_id;
