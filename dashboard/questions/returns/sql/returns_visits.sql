-- Answers: how many selected visits are follow-ups by their kind, and how many of those came within the window after the rider's last
-- first fit or refit before. Grain: one row. Inputs: mart.fits.
WITH followed AS (
    SELECT
        fits.fit_no,
        fits.session_date,
        max(before.session_date) AS fitted_on
    FROM mart.fits AS fits
    LEFT JOIN mart.fits AS before
        ON before.rider_no = fits.rider_no AND before.visit_kind <> 'follow_up' AND before.fit_no < fits.fit_no
    WHERE fits.visit_kind = 'follow_up' AND {fits_selected}
    GROUP BY fits.fit_no, fits.session_date
)

SELECT
    count(*) AS n_follow_ups,
    count(*) FILTER (
        WHERE session_date <= fitted_on + CAST($follow_up_returned_within_days AS INTEGER)
    ) AS n_in_time
FROM followed;
