-- Answers: the names behind the numbers of mart.fits (fitter_no, studio_no), and the kinds of bicycle. Grain: one row.
-- Inputs: core.fitters, mart.fits.
SELECT
    (SELECT list(fitter_id ORDER BY fitter_id) FROM core.fitters) AS fitter,
    (SELECT list(studio_id ORDER BY studio_id) FROM (SELECT DISTINCT studio_id FROM mart.fits)) AS studio,
    (SELECT coalesce(list(bike_kind ORDER BY bike_kind), []) FROM (SELECT DISTINCT bike_kind FROM mart.fits) WHERE bike_kind IS NOT NULL)
        AS bike_kind;
