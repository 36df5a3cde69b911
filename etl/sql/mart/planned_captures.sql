-- Makes: a capture without measures in core.knee_captures for every setup that was recorded without one.
-- Grain and key: one row a session, capture and side (session_id, capture_no, side). Inputs: core.foot_setups, core.knee_captures.
-- In a warehouse of given fits alone: what is to be foreseen there has been set up, and not yet measured.
INSERT INTO core.knee_captures BY NAME
SELECT
    setups.session_id,
    setups.capture_no,
    setups.side
FROM core.foot_setups AS setups
ANTI JOIN core.knee_captures AS captures
    ON captures.session_id = setups.session_id AND captures.capture_no = setups.capture_no AND captures.side = setups.side
ORDER BY ALL;
