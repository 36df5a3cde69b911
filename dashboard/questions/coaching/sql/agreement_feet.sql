-- Answers: each foot of the selected fits with its exam, its knee at arrival and its setup at both ends.
-- Grain and key: one row a fit (numbered by date) and side, left before right. Inputs: mart.fits, mart.feet.
-- Codes are places in the catalogue's codes, 0 not recorded. levels_from_exam: between the insole at departure and the arch, none
-- counting as the level below low; shims_from_exam: between the total at departure and what the forefoot needs at the start.
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
    {stance_by_code} AS stance_by,
    coalesce(
        abs(
            list_position(['none', 'low', 'medium', 'high'], exams.insole_departure)
            - list_position(['none', 'low', 'medium', 'high'], exams.arch_height)
        ),
        0
    )::TINYINT AS levels_from_exam,
    coalesce(
        abs(
            exams.shims_added + exams.shims_built_in
            - CASE {forefoot_of_foot}
                WHEN 'neutral' THEN $agreement_shims_neutral
                WHEN 'mild_varus' THEN $agreement_shims_mild_varus
                WHEN 'marked_varus' THEN $agreement_shims_marked_varus
                WHEN 'valgus' THEN 0
            END
        ),
        0
    )::TINYINT AS shims_from_exam
FROM mart.feet AS exams
INNER JOIN mart.fits AS fits ON fits.fit_no = exams.fit_no
WHERE {fits_selected}
ORDER BY exams.fit_no, exams.side;
