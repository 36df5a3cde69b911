-- Makes: out_fits, the fits of the selection. Grain and key: one row a session (session_id). Inputs: mart.fits.
CREATE OR REPLACE TEMP TABLE out_fits AS
SELECT
    fits.session_id,
    fits.rider_id,
    fits.fitter_id,
    fits.studio_id,
    fits.session_date,
    fits.visit_kind,
    fits.bike_kind,
    fits.riding,
    fits.sex,
    fits.birth_year,
    {age_band} AS age_band,
    fits.visit_no,
    fits.n_captures,
    fits.n_feet_examined,
    fits.has_departure_bike,
    fits.comfort_arrival,
    fits.comfort_departure,
    fits.booked_on,
    fits.due_on,
    fits.attended_on
FROM mart.fits AS fits
WHERE {fits_selected}
ORDER BY fits.session_id;
