-- Fragment: the forefoot class of {angle}, by the limits of the settings (forefoot to rearfoot, + = varus).
CASE
    WHEN {angle} < -$forefoot_neutral_within_deg THEN 'valgus'
    WHEN {angle} <= $forefoot_neutral_within_deg THEN 'neutral'
    WHEN {angle} <= $forefoot_marked_above_deg THEN 'mild_varus'
    WHEN {angle} IS NOT NULL THEN 'marked_varus'
END
