-- Answers: the worst pain and the least foot room that the rider told in a fit. Grain and key: one row a topic (topic).
-- Input: core.rider_ratings.
SELECT
    topic,
    max(score) AS most,
    min(score) AS least
FROM core.rider_ratings
WHERE session_id = $session AND topic IN ('pain', 'foot_room')
GROUP BY topic;
