-- Answers: the level of a split for both feet of the selected fits, as its place in $levels, -1 where it was not recorded.
-- Grain and key: one row a fit and side, left before right, fits numbered by date as in every question. Setups are those at
-- departure. Inputs: mart.fits, mart.feet.
SELECT
    exams.fit_no,
    coalesce(list_position(CAST($levels AS VARCHAR[]), {level}), 0) - 1 AS level_no
FROM mart.feet AS exams
INNER JOIN mart.fits AS fits ON fits.fit_no = exams.fit_no
WHERE {fits_selected}
ORDER BY exams.fit_no, exams.side;
