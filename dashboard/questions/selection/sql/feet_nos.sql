-- Answers: the selected feet of the selected fits. Grain and key: one row a fit (fit_no) and side (1: right). Inputs: mart.fits,
-- mart.feet.
SELECT
    fits.fit_no,
    (feet.side = 'right')::TINYINT AS side
FROM mart.feet AS feet
INNER JOIN mart.fits AS fits ON fits.fit_no = feet.fit_no
WHERE {fits_selected} AND {feet_selected};
