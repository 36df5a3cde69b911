-- Answers: how complete the selected fits are. Grain: one row. Inputs: mart.fits, mart.captures,
-- core.foot_exams.
SELECT
    count(*) AS n_fits,
    count(*) FILTER (WHERE fits.n_feet_examined = 2) AS n_examined,
    count(*) FILTER (WHERE NOT fits.has_exam) AS n_unexamined,
    count(*) FILTER (WHERE fits.n_captures >= 2) AS n_recorded_twice,
    count(*) FILTER (WHERE fits.has_departure_bike) AS n_bike_measured,
    count(*) FILTER (WHERE fits.has_repeat) AS n_repeated
FROM (
    SELECT
        fits.n_feet_examined,
        fits.n_captures,
        fits.has_departure_bike,
        fits.session_id IN (SELECT exams.session_id FROM core.foot_exams AS exams) AS has_exam,
        {has_repeat} AS has_repeat
    FROM mart.fits AS fits
    WHERE {fits_selected}
) AS fits;
