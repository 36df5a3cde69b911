-- Answers: each knee of each rider's first fit, arrival and departure, as numbers: 1 and 0 for what is so and what is not.
-- Grain and key: one row a rider and side (rider_id, side), in that order. Inputs: mart.knees, mart.capture_facts. Only knees whose setup is
-- known at both ends are there; outcomes may be missing.
SELECT
    knee.rider_id,
    knee.side,
    knee.session_date,
    (arrival.insole_level = 'low')::DOUBLE AS share_insole_low_arrival,
    (arrival.insole_level = 'medium')::DOUBLE AS share_insole_medium_arrival,
    (arrival.insole_level = 'high')::DOUBLE AS share_insole_high_arrival,
    (arrival.insole_level = 'custom')::DOUBLE AS share_insole_custom_arrival,
    (departure.insole_level = 'low')::DOUBLE AS share_insole_low_departure,
    (departure.insole_level = 'medium')::DOUBLE AS share_insole_medium_departure,
    (departure.insole_level = 'high')::DOUBLE AS share_insole_high_departure,
    (departure.insole_level = 'custom')::DOUBLE AS share_insole_custom_departure,
    arrival.total_shims::DOUBLE AS shims_arrival,
    departure.total_shims::DOUBLE AS shims_departure,
    arrival.stance_mm AS stance_arrival_mm,
    departure.stance_mm AS stance_departure_mm,
    coalesce(knee.arch_height = 'low', false)::DOUBLE AS share_arch_low,
    coalesce(knee.arch_height = 'medium', false)::DOUBLE AS share_arch_medium,
    coalesce(knee.arch_height = 'high', false)::DOUBLE AS share_arch_high,
    coalesce(({forefoot_of_arrival}) = 'valgus', false)::DOUBLE AS share_forefoot_valgus,
    coalesce(({forefoot_of_arrival}) = 'neutral', false)::DOUBLE AS share_forefoot_neutral,
    coalesce(({forefoot_of_arrival}) = 'mild_varus', false)::DOUBLE AS share_forefoot_mild_varus,
    coalesce(({forefoot_of_arrival}) = 'marked_varus', false)::DOUBLE AS share_forefoot_marked_varus,
    knee.tilt_arrival_deg,
    knee.tilt_departure_deg,
    knee.sway_arrival_mm,
    knee.sway_departure_mm,
    knee.offset_arrival_mm,
    knee.offset_departure_mm
FROM mart.knees AS knee
INNER JOIN mart.capture_facts AS arrival
    ON arrival.session_id = knee.session_id AND arrival.side = knee.side AND arrival.is_arrival
INNER JOIN mart.capture_facts AS departure
    ON departure.session_id = knee.session_id AND departure.side = knee.side AND departure.is_departure
WHERE
    knee.visit_no = 1
    AND knee.session_date BETWEEN $date_from AND $date_to
    AND arrival.insole_level IS NOT NULL AND departure.insole_level IS NOT NULL
    AND arrival.total_shims IS NOT NULL AND departure.total_shims IS NOT NULL
    AND arrival.stance_mm IS NOT NULL AND departure.stance_mm IS NOT NULL
ORDER BY knee.rider_id, knee.side;
