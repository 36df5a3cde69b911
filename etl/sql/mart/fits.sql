-- Makes: mart.fits, one fit wide. Grain and key: one row a session (session_id, and fit_no), in the order of fit_no.
-- Inputs: core.*, mart.fit_numbers, mart.capture_facts, mart.feet.
-- fitter_no, studio_no: place among all by id; arrival_no, departure_no: lowest and highest capture; visit_no: 1 for the rider's
-- first session by date; has_repeat: a capture with nothing changed on either foot since the one before; returned_fit_no,
-- setup_kept, satisfaction, pain, change_rating: of the first follow-up that was attended; has_open_booking: one is neither attended nor ended.
-- One part of the fits at a time: {numbers} and their like narrow the inputs to it, {make} makes the table or adds to it.
{make}
WITH studios AS (
    SELECT studio_id, row_number() OVER (ORDER BY studio_id) - 1 AS studio_no
    FROM (SELECT DISTINCT studio_id FROM core.fit_sessions)
),

fitters AS (
    SELECT fitter_id, row_number() OVER (ORDER BY fitter_id) - 1 AS fitter_no
    FROM core.fitters
),

repeated AS (
    SELECT DISTINCT repeats.fit_no
    FROM mart.capture_facts AS repeats
    ANTI JOIN (SELECT fit_no, capture_no FROM mart.capture_facts AS facts WHERE NOT is_repeat AND {facts}) AS changed
        ON changed.fit_no = repeats.fit_no AND changed.capture_no = repeats.capture_no
    WHERE repeats.is_repeat AND {repeats}
),

measured AS (
    SELECT DISTINCT measures.session_id
    FROM core.bike_measures AS measures
    INNER JOIN mart.fit_numbers AS numbers ON numbers.session_id = measures.session_id
    WHERE measures.moment = 'departure' AND {numbers}
),

comfort AS (
    SELECT
        ratings.session_id,
        avg(ratings.score) FILTER (WHERE ratings.capture_no = numbers.arrival_no) AS comfort_arrival,
        avg(ratings.score) FILTER (WHERE ratings.capture_no = numbers.departure_no) AS comfort_departure
    FROM core.rider_ratings AS ratings
    INNER JOIN mart.fit_numbers AS numbers ON numbers.session_id = ratings.session_id
    WHERE ratings.topic = 'comfort' AND numbers.departure_no > numbers.arrival_no AND {numbers}
    GROUP BY ratings.session_id
),

followed AS (
    SELECT
        session_id,
        min(booked_on) AS booked_on,
        min(due_on) AS due_on,
        max(due_on) AS last_due_on,
        bool_or(state = 'open') AS has_open_booking,
        min(attended_on) FILTER (WHERE state = 'attended') AS attended_on,
        arg_min(returned_session_id, attended_on) FILTER (WHERE state = 'attended') AS returned_session_id,
        arg_min(setup_kept, attended_on) FILTER (WHERE state = 'attended') AS setup_kept,
        arg_min(satisfaction, attended_on) FILTER (WHERE state = 'attended') AS satisfaction,
        arg_min(pain, attended_on) FILTER (WHERE state = 'attended') AS pain,
        arg_min(change_rating, attended_on) FILTER (WHERE state = 'attended') AS change_rating
    FROM core.follow_ups
    GROUP BY session_id
)

SELECT
    numbers.fit_no,
    numbers.rider_no,
    fitters.fitter_no::INTEGER AS fitter_no,
    studios.studio_no::INTEGER AS studio_no,
    numbers.session_id,
    sessions.rider_id,
    sessions.fitter_id,
    sessions.studio_id,
    sessions.session_date,
    sessions.visit_kind,
    sessions.bike_kind,
    sessions.sit_bone_width_mm,
    sessions.saddle_width_mm,
    sessions.saddle_condition,
    riders.riding,
    riders.sex,
    riders.birth_year,
    numbers.visit_no,
    numbers.arrival_no,
    numbers.departure_no,
    numbers.n_captures,
    (feet_left.arch_height IS NOT NULL AND feet_left.forefoot_angle_deg IS NOT NULL)::BIGINT
    + (feet_right.arch_height IS NOT NULL AND feet_right.forefoot_angle_deg IS NOT NULL)::BIGINT AS n_feet_examined,
    feet_left.arch_height AS arch_height_left,
    feet_right.arch_height AS arch_height_right,
    feet_left.forefoot_angle_deg AS forefoot_angle_left_deg,
    feet_right.forefoot_angle_deg AS forefoot_angle_right_deg,
    measured.session_id IS NOT NULL AS has_departure_bike,
    repeated.fit_no IS NOT NULL AS has_repeat,
    comfort.comfort_arrival,
    comfort.comfort_departure,
    followed.booked_on,
    followed.due_on,
    followed.attended_on,
    followed.last_due_on,
    coalesce(followed.has_open_booking, false) AS has_open_booking,
    returned.fit_no AS returned_fit_no,
    followed.setup_kept,
    followed.satisfaction,
    followed.pain,
    followed.change_rating
FROM mart.fit_numbers AS numbers
INNER JOIN core.fit_sessions AS sessions ON sessions.session_id = numbers.session_id
INNER JOIN core.riders AS riders ON riders.rider_id = sessions.rider_id
INNER JOIN fitters ON fitters.fitter_id = sessions.fitter_id
INNER JOIN studios ON studios.studio_id = sessions.studio_id
INNER JOIN mart.feet AS feet_left ON feet_left.fit_no = numbers.fit_no AND feet_left.side = 'left'
INNER JOIN mart.feet AS feet_right ON feet_right.fit_no = numbers.fit_no AND feet_right.side = 'right'
LEFT JOIN repeated ON repeated.fit_no = numbers.fit_no
LEFT JOIN measured ON measured.session_id = numbers.session_id
LEFT JOIN comfort ON comfort.session_id = numbers.session_id
LEFT JOIN followed ON followed.session_id = numbers.session_id
LEFT JOIN mart.fit_numbers AS returned ON returned.session_id = followed.returned_session_id
WHERE {numbers} AND {feet_left} AND {feet_right}
ORDER BY numbers.fit_no;
