-- Answers: how many riders came for the first time in each calendar quarter that is over. Grain and key: one row a quarter
-- (quarter, its first day), in order. Inputs: mart.fits. Quarters without a first fit are missing.
SELECT
    CAST(date_trunc('quarter', session_date) AS DATE) AS quarter,
    count(*) AS n_riders
FROM mart.fits
WHERE visit_no = 1 AND date_trunc('quarter', session_date) < date_trunc('quarter', CAST($as_of AS DATE))
GROUP BY 1
ORDER BY 1;
