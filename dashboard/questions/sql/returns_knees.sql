-- Answers: each knee as a fit left it and as the follow-up first found it. Grain and key: one row a session and side, of fits
-- whose window has closed; empty found columns: not seen again. Inputs: mart.captures, mart.fits, core.follow_ups.
WITH visits AS (
    SELECT session_id, min(returned_session_id) AS returned_session_id
    FROM core.follow_ups
    WHERE state = 'attended' AND returned_session_id IS NOT NULL
    GROUP BY session_id
)

SELECT
    dense_rank() OVER (ORDER BY fits.rider_id) - 1 AS rider,
    found.session_id IS NOT NULL AS is_seen,
    captures.knee_tilt_deg AS tilt_left_deg,
    found.knee_tilt_deg AS tilt_found_deg,
    captures.knee_sway_mm AS sway_left_mm,
    found.knee_sway_mm AS sway_found_mm
FROM mart.captures AS captures
INNER JOIN mart.fits AS fits ON fits.session_id = captures.session_id
LEFT JOIN visits ON visits.session_id = captures.session_id
LEFT JOIN mart.captures AS found
    ON found.session_id = visits.returned_session_id AND found.side = captures.side AND found.is_arrival
WHERE captures.is_departure AND {asks_follow_up} AND {window_closed} AND {fits_selected} AND {captures_selected}
ORDER BY captures.session_id, captures.side;
