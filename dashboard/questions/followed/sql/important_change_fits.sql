-- Answers: each fit whose rider was rated again at the follow-up, by how much comfort rose and pain fell from the fit's arrival to
-- the follow-up's first capture, and what the rider said of it. Grain and key: one row a session that asks for a follow-up,
-- numbered by date (fit_no). Inputs: mart.fits, mart.ratings. Points are means over the parts of the body rated at both; pain is
-- empty where nothing hurt at arrival; change_rating: -3 to 3, empty where not asked.
WITH rated AS (
    SELECT
        ratings.fit_no,
        avg(ratings.follow_up - ratings.arrival) FILTER (WHERE ratings.topic = 'comfort') AS comfort_gained_points,
        avg(ratings.arrival - ratings.follow_up) FILTER (WHERE ratings.topic = 'pain') AS pain_lost_points,
        max(ratings.arrival) FILTER (WHERE ratings.topic = 'pain' AND ratings.follow_up IS NOT NULL) AS worst_pain
    FROM mart.ratings AS ratings
    WHERE ratings.topic IN ('comfort', 'pain')
    GROUP BY ratings.fit_no
)

SELECT
    fits.fit_no,
    fits.rider_no AS rider,
    rated.comfort_gained_points::DOUBLE AS comfort,
    CASE WHEN rated.worst_pain > 0 THEN rated.pain_lost_points END::DOUBLE AS pain,
    fits.change_rating
FROM mart.fits AS fits
INNER JOIN rated ON rated.fit_no = fits.fit_no
WHERE {asks_follow_up} AND {fits_selected}
ORDER BY fits.fit_no;
