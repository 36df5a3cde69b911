-- Answers: each foot of the selected fits with its exam, its knee at arrival and its setup at both ends.
-- Grain and key: one row a fit (numbered by date) and side, left before right. Inputs: mart.fits, mart.feet.
-- Codes are places in the catalogue's codes, 0 not recorded.
SELECT
    exams.has_exam,
    {arch_height_code} AS arch_height,
    {forefoot_code} AS forefoot,
    exams.forefoot_angle_deg,
    {squat_knee_path_code} AS squat_knee_path,
    exams.tilt_arrival_deg,
    {insole_arrival_code} AS insole_arrival,
    {insole_departure_code} AS insole_departure,
    exams.total_shims_arrival,
    exams.shims_added,
    exams.shims_built_in,
    {shim_place_code} AS shim_place,
    exams.stance_arrival_mm,
    exams.stance_departure_mm,
    {stance_by_code} AS stance_by
FROM mart.feet AS exams
INNER JOIN mart.fits AS fits ON fits.fit_no = exams.fit_no
WHERE {fits_selected}
ORDER BY exams.fit_no, exams.side;
