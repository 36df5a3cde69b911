-- Makes: mart.feet, one foot of a fit: its exam, its knee and its setup at arrival and departure. Grain and key: one row a fit
-- and side (fit_no, side), left before right; both are there for every fit, and what was not recorded is empty.
-- Inputs: mart.fit_numbers, mart.capture_facts, core.foot_exams, core.foot_setups.
-- Setups are those of the session's lowest and highest capture, also where that knee was not recorded; where the session
-- holds one capture only, it is both.
-- One part of the fits at a time: {numbers} and {facts} narrow the inputs to it, {make} makes the table or adds to it.
{make}
WITH feet AS MATERIALIZED (
    SELECT numbers.fit_no, numbers.session_id, sides.side
    FROM mart.fit_numbers AS numbers
    CROSS JOIN (VALUES ('left'), ('right')) AS sides (side)
    WHERE {numbers}
),

exams AS (
    SELECT numbers.fit_no, exams.*
    FROM core.foot_exams AS exams
    INNER JOIN mart.fit_numbers AS numbers ON numbers.session_id = exams.session_id
    WHERE {numbers}
),

setups AS MATERIALIZED (
    SELECT
        numbers.fit_no,
        setups.side,
        setups.capture_no = numbers.arrival_no AS is_arrival,
        setups.capture_no = numbers.departure_no AS is_departure,
        setups.insole_level,
        setups.shims_added,
        coalesce(setups.shims_built_in, 0) AS shims_built_in,
        setups.shim_place,
        setups.stance_mm,
        setups.stance_by
    FROM core.foot_setups AS setups
    INNER JOIN mart.fit_numbers AS numbers ON numbers.session_id = setups.session_id
    WHERE (setups.capture_no = numbers.arrival_no OR setups.capture_no = numbers.departure_no) AND {numbers}
),

knees AS MATERIALIZED (
    SELECT fit_no, side, is_arrival, is_departure, knee_tilt_deg, knee_sway_mm, knee_offset_mm
    FROM mart.capture_facts AS facts
    WHERE (is_arrival OR is_departure) AND {facts}
)

SELECT
    feet.fit_no,
    feet.side,
    exams.session_id IS NOT NULL AS has_exam,
    exams.arch_height,
    exams.arch_collapse,
    exams.heel_posture,
    exams.forefoot_angle_deg,
    exams.squat_knee_path,
    exams.hip_flexion_deg,
    exams.foot_posture_index,
    arrival.knee_tilt_deg AS tilt_arrival_deg,
    arrival.knee_sway_mm AS sway_arrival_mm,
    arrival.knee_offset_mm AS offset_arrival_mm,
    departure.knee_tilt_deg AS tilt_departure_deg,
    departure.knee_sway_mm AS sway_departure_mm,
    departure.knee_offset_mm AS offset_departure_mm,
    before.insole_level AS insole_arrival,
    before.shims_added + before.shims_built_in AS total_shims_arrival,
    before.stance_mm AS stance_arrival_mm,
    after.insole_level AS insole_departure,
    after.shims_added,
    after.shims_built_in,
    after.shim_place,
    after.stance_mm AS stance_departure_mm,
    after.stance_by
FROM feet
LEFT JOIN exams ON exams.fit_no = feet.fit_no AND exams.side = feet.side
LEFT JOIN knees AS arrival ON arrival.fit_no = feet.fit_no AND arrival.side = feet.side AND arrival.is_arrival
LEFT JOIN knees AS departure ON departure.fit_no = feet.fit_no AND departure.side = feet.side AND departure.is_departure
LEFT JOIN setups AS before ON before.fit_no = feet.fit_no AND before.side = feet.side AND before.is_arrival
LEFT JOIN setups AS after ON after.fit_no = feet.fit_no AND after.side = feet.side AND after.is_departure
ORDER BY feet.fit_no, feet.side;
