-- Answers: what riders said of one topic and part of the body at arrival, at departure and at the follow-up's first capture.
-- Grain and key: one row a fit (fit_no), topic and body part. Inputs: mart.fits, mart.ratings. is_followable: the fit asks
-- for a follow-up and its window has closed; topic: its place in the catalogue's codes, from 1; part: its place in $parts, from 0.
SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    {topic_code} AS topic,
    list_position(CAST($parts AS VARCHAR[]), ratings.body_part) - 1 AS part,
    {asks_follow_up} AND {window_closed} AS is_followable,
    ratings.arrival,
    ratings.departure,
    ratings.follow_up
FROM mart.ratings AS ratings
INNER JOIN mart.fits AS fits ON fits.fit_no = ratings.fit_no
WHERE {fits_selected}
ORDER BY ratings.fit_no, ratings.topic, ratings.body_part;
