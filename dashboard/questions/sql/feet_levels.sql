-- Answers: every column to split by, for both feet of the selected fits. Grain and key: one row a fit and side, left before
-- right, fits numbered by date as in every question; what was not recorded is empty. Setups are those at departure.
-- Inputs: mart.fits, mart.capture_facts, core.foot_exams.
WITH chosen AS (
    SELECT
        row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
        fits.session_id,
        fits.riding,
        fits.bike_kind,
        fits.visit_kind,
        fits.sex,
        {age_band} AS age_band
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

arrivals AS (
    SELECT session_id, side, {arrival_direction} AS arrival_direction
    FROM mart.capture_facts
    WHERE is_arrival
)

SELECT
    chosen.fit,
    sides.side,
    chosen.riding,
    chosen.bike_kind,
    chosen.visit_kind,
    chosen.sex,
    chosen.age_band,
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.squat_knee_path,
    {forefoot_of_exam} AS forefoot,
    exams.arch_height || ' arch, ' || {forefoot_of_exam} AS foot_type,
    {foot_posture} AS foot_posture,
    {hip_flexion} AS hip_flexion,
    arrivals.arrival_direction,
    departures.shim_place,
    departures.stance_by
FROM chosen
CROSS JOIN (VALUES ('left'), ('right')) AS sides (side)
LEFT JOIN core.foot_exams AS exams ON exams.session_id = chosen.session_id AND exams.side = sides.side
LEFT JOIN arrivals ON arrivals.session_id = chosen.session_id AND arrivals.side = sides.side
LEFT JOIN mart.capture_facts AS departures
    ON departures.session_id = chosen.session_id AND departures.side = sides.side AND departures.is_departure
ORDER BY chosen.fit, sides.side;
