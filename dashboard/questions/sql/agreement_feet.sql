-- Answers: each examined foot of the selected fits with its setup at both ends and its knee at arrival.
-- Grain and key: one row a fit (numbered by date) and side. Inputs: mart.fits, mart.capture_facts, core.foot_exams, core.foot_setups.
-- Setups are those of the session's lowest and highest capture; stance_moved: -1 narrower, 1 wider, from arrival to departure.
WITH chosen AS (
    SELECT
        row_number() OVER (ORDER BY fits.session_date, fits.session_id) - 1 AS fit,
        fits.session_id,
        fits.arrival_no,
        fits.departure_no
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

arrived AS (
    SELECT session_id, side, knee_tilt_deg
    FROM mart.capture_facts
    WHERE is_arrival
)

SELECT
    chosen.fit,
    exams.side,
    exams.arch_height,
    {forefoot_of_exam} AS forefoot,
    exams.forefoot_angle_deg,
    exams.squat_knee_path,
    arrived.knee_tilt_deg AS tilt_arrival_deg,
    CASE
        WHEN arrived.knee_tilt_deg < -$knee_neutral_within_deg THEN 'inward'
        WHEN arrived.knee_tilt_deg > $knee_neutral_within_deg THEN 'outward'
        WHEN arrived.knee_tilt_deg IS NOT NULL THEN 'neutral'
    END AS knee,
    before.insole_level AS insole_arrival,
    after.insole_level AS insole_departure,
    before.shims_added + coalesce(before.shims_built_in, 0) AS total_shims_arrival,
    after.shims_added,
    coalesce(after.shims_built_in, 0) AS shims_built_in,
    after.shim_place,
    before.stance_mm AS stance_arrival_mm,
    after.stance_mm AS stance_departure_mm,
    after.stance_by,
    CAST(sign(after.stance_mm - before.stance_mm) AS INTEGER) AS stance_moved,
    after.stance_mm < 0 AS is_narrow
FROM chosen
INNER JOIN core.foot_exams AS exams ON exams.session_id = chosen.session_id
LEFT JOIN arrived ON arrived.session_id = chosen.session_id AND arrived.side = exams.side
LEFT JOIN core.foot_setups AS before
    ON before.session_id = chosen.session_id AND before.capture_no = chosen.arrival_no AND before.side = exams.side
LEFT JOIN core.foot_setups AS after
    ON after.session_id = chosen.session_id AND after.capture_no = chosen.departure_no AND after.side = exams.side
ORDER BY chosen.fit, exams.side;
