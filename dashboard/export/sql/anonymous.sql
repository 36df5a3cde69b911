-- Makes: out_fits, out_knees and out_captures again, with codes for ids, periods for dates, and without what is held back.
-- Grain and key: as before, by the codes. Inputs: out_fits, out_knees, out_captures, released (one row a session that is given
-- out: codes, period, and what is shown of the rider).
CREATE OR REPLACE TEMP TABLE plain_fits AS
SELECT
    session_id,
    n_captures,
    n_feet_examined,
    has_departure_bike,
    comfort_arrival,
    comfort_departure,
    booked_on IS NOT NULL AS has_booked,
    attended_on IS NOT NULL AS has_attended
FROM out_fits;

CREATE OR REPLACE TEMP TABLE out_fits AS
SELECT
    released.session_code AS session_id,
    released.rider_code AS rider_id,
    released.fitter_code AS fitter_id,
    released.studio_code AS studio_id,
    released.period AS session_period,
    released.visit_kind,
    released.bike_kind,
    released.riding,
    released.sex,
    released.age_band,
    released.visit_no,
    fits.n_captures,
    fits.n_feet_examined,
    fits.has_departure_bike,
    fits.comfort_arrival,
    fits.comfort_departure,
    fits.has_booked,
    fits.has_attended
FROM plain_fits AS fits
INNER JOIN released ON released.session_id = fits.session_id
ORDER BY released.session_code;

CREATE OR REPLACE TEMP TABLE out_knees AS
SELECT
    knees.* REPLACE (released.session_code AS session_id, released.rider_code AS rider_id)
FROM out_knees AS knees
INNER JOIN released ON released.session_id = knees.session_id
ORDER BY released.session_code, knees.side;

CREATE OR REPLACE TEMP TABLE out_captures AS
SELECT
    captures.* REPLACE (released.session_code AS session_id, released.rider_code AS rider_id)
FROM out_captures AS captures
INNER JOIN released ON released.session_id = captures.session_id
ORDER BY released.session_code, captures.capture_no, captures.side;
