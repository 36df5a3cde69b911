-- Fragment: where a knee stood at the session's first capture, by the limit of the settings; knee_tilt_deg is that capture's.
CASE
    WHEN knee_tilt_deg < -$knee_neutral_within_deg THEN 'inward'
    WHEN knee_tilt_deg <= $knee_neutral_within_deg THEN 'near neutral'
    WHEN knee_tilt_deg IS NOT NULL THEN 'outward'
END
