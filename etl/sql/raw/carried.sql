-- Makes: carried_{table}, what each capture has from the captures before it, or of itself. Grain and key: scope, session_id, capture_no,
-- side. Visits are in the order of their dates; what stands in the warehouse counts where no file tells of it.
-- Inputs: stood_{table}, core.{table}, core.fit_sessions.
CREATE OR REPLACE TEMP TABLE carried_{table} AS
WITH told AS (
    SELECT scope, "x_session_id" AS session_id, TRY_CAST("x_capture_no" AS DOUBLE) AS capture_no, lower("x_side") AS side, {columns}
    FROM stood_{table}
),

kept AS (
    SELECT scopes.scope, setups.session_id, CAST(setups.capture_no AS DOUBLE) AS capture_no, setups.side, {kept}
    FROM core."{table}" AS setups
    CROSS JOIN (SELECT DISTINCT scope FROM told) AS scopes
    ANTI JOIN told
        ON
            told.scope = scopes.scope
            AND told.session_id = setups.session_id
            AND told.capture_no = setups.capture_no
            AND told.side = setups.side
),

dated AS (
    SELECT stood.*, fits.rider_id, fits.session_date
    FROM (SELECT * FROM told UNION ALL SELECT * FROM kept) AS stood
    LEFT JOIN core.fit_sessions AS fits ON fits.session_id = stood.session_id
)

SELECT scope, session_id, capture_no, side, {carried}
FROM dated
WINDOW
    visit AS (PARTITION BY scope, session_id, side ORDER BY capture_no ROWS UNBOUNDED PRECEDING),
    ever AS (
        PARTITION BY scope, coalesce(rider_id, session_id), side
        ORDER BY session_date, session_id, capture_no
        ROWS UNBOUNDED PRECEDING
    )
QUALIFY row_number() OVER (PARTITION BY scope, session_id, capture_no, side) = 1;
