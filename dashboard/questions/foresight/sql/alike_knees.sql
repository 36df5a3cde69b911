-- Answers: the knees most like one: of other riders, same arch and forefoot class, nearest in arrival tilt and forefoot angle (an
-- eighth of a degree of tilt for each degree of angle; a quarter of one where kind of visit, bicycle or riding is known and
-- another). Grain and key: one row a session and side (session_id, side), the most alike first. Inputs: mart.feet, mart.fits.
SELECT
    fits.fit_no,
    fits.session_id,
    feet.side AS of_side,
    feet.tilt_arrival_deg,
    feet.tilt_departure_deg,
    again.tilt_arrival_deg AS tilt_follow_up_deg,
    fits.comfort_arrival::DOUBLE AS comfort_arrival,
    fits.comfort_departure::DOUBLE AS comfort_departure,
    later.comfort_arrival::DOUBLE AS comfort_follow_up,
    fits.satisfaction::DOUBLE AS satisfaction,
    feet.insole_arrival,
    feet.insole_departure,
    feet.total_shims_arrival::BIGINT AS shims_arrival,
    (feet.shims_added + feet.shims_built_in)::BIGINT AS shims_departure,
    feet.stance_arrival_mm,
    feet.stance_departure_mm
FROM mart.feet AS feet
INNER JOIN mart.fits AS fits ON fits.fit_no = feet.fit_no
LEFT JOIN mart.fits AS later ON later.fit_no = fits.returned_fit_no
LEFT JOIN mart.feet AS again ON again.fit_no = fits.returned_fit_no AND again.side = feet.side
WHERE
    fits.rider_id IS DISTINCT FROM $rider
    AND (len(CAST($fitters AS VARCHAR[])) = 0 OR list_contains(CAST($fitters AS VARCHAR[]), fits.fitter_id))
    AND feet.arch_height = $arch_height
    AND {forefoot_of_exam} = $forefoot
    AND feet.tilt_arrival_deg IS NOT NULL
    AND feet.insole_departure IS NOT NULL
ORDER BY
    abs(feet.tilt_arrival_deg - $tilt_deg) + abs(feet.forefoot_angle_deg - $angle_deg) / 8
    + (
        coalesce(fits.visit_kind <> $visit_kind, false)::INTEGER
        + coalesce(lower(fits.bike_kind) <> lower($bike_kind), false)::INTEGER
        + coalesce(fits.riding <> $riding, false)::INTEGER
    ) / 4,
    fits.session_id,
    feet.side
LIMIT 20;
