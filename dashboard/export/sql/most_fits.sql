-- Answers: how many fits one rider had at most, in the selected time and in one calendar quarter of it. Grain: one row.
-- Inputs: mart.fits.
WITH quarters AS (
    SELECT rider_id, date_trunc('quarter', session_date) AS quarter, count(*) AS n_fits
    FROM mart.fits
    WHERE session_date BETWEEN $date_from AND $date_to
    GROUP BY ALL
),

riders AS (
    SELECT rider_id, sum(n_fits) AS n_fits
    FROM quarters
    GROUP BY rider_id
)

SELECT
    (SELECT max(n_fits) FROM riders)::BIGINT AS in_all,
    (SELECT max(n_fits) FROM quarters)::BIGINT AS in_a_quarter;
