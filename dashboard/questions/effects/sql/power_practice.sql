-- Answers: how a studio records, to foresee what more fits would tell: captures of knees, and those that a repeat before each change would
-- add; riders in all and in the last months of the data. Grain: one row. Inputs: mart.fits, mart.captures.
WITH chosen AS (
    SELECT fits.session_id, fits.rider_id, fits.session_date
    FROM mart.fits AS fits
    WHERE {fits_selected}
),

stepped AS (
    SELECT
        captures.is_repeat,
        captures.capture_order,
        lag(captures.is_repeat) OVER knee AS is_after_repeat
    FROM mart.captures AS captures
    INNER JOIN chosen ON captures.session_id = chosen.session_id
    WHERE captures.insole_level IS NOT NULL
    WINDOW knee AS (PARTITION BY captures.session_id, captures.side ORDER BY captures.capture_no)
),

spans AS (
    SELECT
        max(session_date) AS last_date,
        least(365, date_diff('day', min(session_date), max(session_date)) + 1) AS n_days
    FROM chosen
)

SELECT
    (SELECT count(*) FROM stepped)::BIGINT AS n_captures,
    (
        SELECT count(*) FROM stepped WHERE capture_order > 0 AND NOT is_repeat AND NOT coalesce(is_after_repeat, false)
    )::BIGINT AS n_unrepeated,
    (SELECT count(DISTINCT rider_id) FROM chosen)::BIGINT AS n_riders,
    (
        SELECT count(DISTINCT chosen.rider_id) FROM chosen, spans
        WHERE date_diff('day', chosen.session_date, spans.last_date) < spans.n_days
    )::BIGINT AS n_riders_lately,
    (SELECT n_days FROM spans)::BIGINT AS n_days;
