-- Answers: the knees of the selection's last fit that has a capture with a recorded setup: exam, where it stood at arrival, and
-- the setup as it stood at last. Grain and key: one row a side (side), left first. Inputs: mart.fits, mart.feet,
-- mart.capture_facts, core.foot_setups.
WITH last_fit AS (
    SELECT fits.fit_no, fits.session_id, fits.session_date, fits.visit_kind, fits.bike_kind, fits.riding
    FROM mart.fits AS fits
    WHERE
        fits.rider_id = $rider
        AND (len(CAST($fitters AS VARCHAR[])) = 0 OR list_contains(CAST($fitters AS VARCHAR[]), fits.fitter_id))
        AND EXISTS (
            FROM mart.capture_facts AS facts WHERE facts.fit_no = fits.fit_no AND facts.insole_level IS NOT NULL
        )
    ORDER BY fits.session_date DESC, fits.fit_no DESC
    LIMIT 1
),

present AS (
    SELECT
        facts.side,
        last(facts.capture_no ORDER BY facts.capture_no) AS capture_no
    FROM mart.capture_facts AS facts
    INNER JOIN last_fit ON last_fit.fit_no = facts.fit_no
    WHERE facts.insole_level IS NOT NULL
    GROUP BY facts.side
)

SELECT
    last_fit.session_id,
    last_fit.session_date,
    last_fit.visit_kind,
    last_fit.bike_kind,
    last_fit.riding,
    feet.side,
    feet.arch_height,
    feet.arch_collapse,
    feet.heel_posture,
    feet.squat_knee_path,
    feet.forefoot_angle_deg,
    {forefoot_of_exam} AS forefoot,
    setups.insole_level,
    setups.shims_added,
    coalesce(setups.shims_built_in, 0)::BIGINT AS shims_built_in,
    setups.shim_place,
    setups.stance_mm,
    setups.stance_by,
    setups.foot_room_ok
FROM last_fit
INNER JOIN mart.feet AS feet ON feet.fit_no = last_fit.fit_no
INNER JOIN present ON present.side = feet.side
INNER JOIN core.foot_setups AS setups
    ON setups.session_id = last_fit.session_id AND setups.capture_no = present.capture_no AND setups.side = feet.side
ORDER BY feet.side;
