-- Answers: what is signed of one rider's left and right knees and feet, in the mean over the rider's fits, and how far knees
-- moved where supports were changed. Grain and key: one row a studio, rider and side (studio_no, rider_no, is_right).
-- Inputs: mart.fits, mart.feet. Shims and stance are those at departure; moves are departure less arrival.
WITH feet AS (
    SELECT
        fits.studio_no,
        fits.rider_no,
        feet.side,
        feet.tilt_arrival_deg AS knee_tilt_deg,
        feet.offset_arrival_mm AS knee_offset_mm,
        feet.forefoot_angle_deg,
        feet.shims_added,
        feet.shims_added + feet.shims_built_in AS shims,
        feet.stance_departure_mm AS stance_mm,
        feet.tilt_departure_deg - feet.tilt_arrival_deg AS tilt_moved,
        feet.offset_departure_mm - feet.offset_arrival_mm AS offset_moved,
        feet.shims_added + feet.shims_built_in - feet.total_shims_arrival AS shims_moved,
        feet.stance_departure_mm - feet.stance_arrival_mm AS stance_moved
    FROM mart.feet AS feet
    INNER JOIN mart.fits AS fits ON fits.fit_no = feet.fit_no
)

SELECT
    studio_no,
    rider_no,
    side = 'right' AS is_right,
    avg(knee_tilt_deg)::DOUBLE AS knee_tilt_deg,
    avg(knee_offset_mm)::DOUBLE AS knee_offset_mm,
    avg(forefoot_angle_deg)::DOUBLE AS forefoot_angle_deg,
    avg(shims_added)::DOUBLE AS shims_added,
    avg(shims)::DOUBLE AS shims,
    avg(stance_mm)::DOUBLE AS stance_mm,
    avg(tilt_moved)::DOUBLE AS tilt_moved,
    avg(offset_moved)::DOUBLE AS offset_moved,
    avg(shims_moved)::DOUBLE AS shims_moved,
    avg(stance_moved)::DOUBLE AS stance_moved
FROM feet
GROUP BY studio_no, rider_no, side
ORDER BY studio_no, rider_no, side;
