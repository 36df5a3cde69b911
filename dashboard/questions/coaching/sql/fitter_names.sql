-- Answers: the names of fitters that the studio records. Grain and key: one row a fitter (fitter_id). Inputs: core.fitters.
SELECT fitter_id, fitter_name
FROM core.fitters
WHERE fitter_name IS NOT NULL
ORDER BY fitter_id;
