-- Fragment: true for a row of `fits` (mart.fits) that holds a repeat capture: one with nothing changed on either foot.
EXISTS (
    SELECT 1
    FROM mart.capture_facts AS repeats
    WHERE repeats.session_id = fits.session_id
    GROUP BY repeats.capture_no
    HAVING bool_and(repeats.is_repeat)
)
