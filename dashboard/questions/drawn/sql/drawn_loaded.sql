-- Answers: the draws that exports brought. Grain and key: one draw, draw_id. Inputs: core.drawn_orders.
SELECT
    draw_id, comparison_id, session_id, side, capture_before, drawn, first_step, second_step, outcome, stratum, block, block_size,
    place, drawn_at, opened_on, closed_on, stop_after, commitment, seed, arch_height, forefoot, insole_level, total_shims, knee
FROM core.drawn_orders
ORDER BY comparison_id, drawn_at, draw_id;
