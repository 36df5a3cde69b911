-- Adds: a warning for each knee that jumps between two captures of the same setup. Grain: one row a session, capture and
-- side. Inputs: mart.capture_facts.
INSERT INTO raw.warnings
SELECT
    'knee_jump', 'knee_captures', 'knee_tilt_deg',
    concat_ws('|', later.session_id, later.capture_no, later.side),
    later.session_id,
    CAST(later.knee_tilt_deg AS VARCHAR),
    'tilt moved from ' || earlier.knee_tilt_deg || '° to ' || later.knee_tilt_deg || '° with an unchanged setup. '
    || 'Check the markers and the setup as written down.'
FROM mart.capture_facts AS later
INNER JOIN mart.capture_facts AS earlier
    ON
        earlier.fit_no = later.fit_no
        AND earlier.side = later.side
        AND earlier.capture_order = later.capture_order - 1
WHERE later.is_repeat AND abs(later.tilt_change_deg) >= $warnings_jump_deg
ORDER BY later.session_id, later.capture_no, later.side;
