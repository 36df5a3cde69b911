-- Answers: the parts of the body that were rated. Grain and key: part, by name. Inputs: mart.ratings.
SELECT DISTINCT body_part AS part
FROM mart.ratings
ORDER BY part;
