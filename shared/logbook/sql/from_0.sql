-- Makes version 1: comparisons that were opened, and what was drawn in them.
-- comparisons. Grain: one comparison. Key: comparison_id. seed: hexadecimal, hidden until closed_at; commitment: SHA-256 of it, told at
-- opening. first_step, second_step: codes of the two next steps. Feet that it is for: arch_height, forefoot (class), insole_level and
-- total_shims as they stand before the step, knee (inward, neutral, outward). stop_after: draws; stop_on: the last day.
CREATE TABLE comparisons (
    comparison_id TEXT PRIMARY KEY,
    opened_at TEXT NOT NULL,
    opened_by TEXT NOT NULL,
    first_step TEXT NOT NULL,
    second_step TEXT NOT NULL,
    outcome TEXT NOT NULL,
    arch_height TEXT NOT NULL,
    forefoot TEXT NOT NULL,
    insole_level TEXT NOT NULL,
    total_shims INTEGER NOT NULL,
    knee TEXT NOT NULL,
    stop_after INTEGER NOT NULL,
    stop_on TEXT NOT NULL,
    confirmed TEXT NOT NULL,
    seed TEXT NOT NULL,
    commitment TEXT NOT NULL,
    closed_at TEXT NOT NULL DEFAULT '',
    closed_by TEXT NOT NULL DEFAULT '',
    why_closed TEXT NOT NULL DEFAULT ''
) STRICT;
-- draws. Grain: one draw. Key: comparison_id with draw_no; a place within a stratum's block is drawn once, and a fit once a comparison.
-- session_id: empty once its rider was forgotten; the place stays, so that the other draws can be checked. drawn: first or second.
CREATE TABLE draws (
    comparison_id TEXT NOT NULL REFERENCES comparisons (comparison_id),
    draw_no INTEGER NOT NULL,
    stratum TEXT NOT NULL,
    block INTEGER NOT NULL,
    block_size INTEGER NOT NULL,
    place INTEGER NOT NULL,
    drawn TEXT NOT NULL,
    session_id TEXT NOT NULL,
    side TEXT NOT NULL,
    capture_before INTEGER NOT NULL,
    drawn_at TEXT NOT NULL,
    drawn_by TEXT NOT NULL,
    PRIMARY KEY (comparison_id, draw_no),
    UNIQUE (comparison_id, stratum, block, place)
) STRICT;
CREATE UNIQUE INDEX one_draw_a_fit ON draws (comparison_id, session_id) WHERE session_id <> '';
