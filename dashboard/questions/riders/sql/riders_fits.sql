-- Answers: each selected fit, by date, with what the fitter wrote. Grain and key: one row a session (session_id).
-- Inputs: mart.fits, core.fit_sessions.
SELECT
    fits.fit_no,
    fits.session_id,
    fits.session_date,
    fits.visit_kind,
    fits.visit_no,
    fits.studio_id,
    fits.fitter_id,
    fits.bike_kind,
    fits.n_captures,
    fits.riding,
    fits.attended_on AS seen_on,
    sessions.sit_bone_width_mm,
    sessions.saddle_width_mm,
    sessions.saddle_condition,
    sessions.notes,
    lag(fits.session_id) OVER by_date AS previous_session_id,
    lead(fits.session_id) OVER by_date AS next_session_id
FROM mart.fits AS fits
INNER JOIN core.fit_sessions AS sessions ON sessions.session_id = fits.session_id
WHERE {fits_selected}
WINDOW by_date AS (PARTITION BY fits.rider_id ORDER BY fits.session_date, fits.session_id)
ORDER BY fits.session_date, fits.session_id;
