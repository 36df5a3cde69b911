-- Answers: left against right of both knees in the selected riders' first sessions. Inputs: mart.fits, mart.feet.
-- Grain and key: one row a quantity, moment, cell of left and right value, and whether beyond the limit (quantity, moment,
-- left_value, right_value, is_beyond). Up to $most_cells riders stand as recorded (cell_size 0); more are counted in square
-- cells, by their centres, of the finest size that keeps every moment to $most_cells rows. The coarsest one always does:
-- the catalogue's limits hold 31 by 31 of it, 2° or 10 mm wide.
WITH firsts AS MATERIALIZED (
    SELECT
        fits.n_captures > 1 AS has_departure,  -- one capture alone is the arrival
        l.tilt_arrival_deg AS l_tilt_arrival,
        r.tilt_arrival_deg AS r_tilt_arrival,
        l.tilt_departure_deg AS l_tilt_departure,
        r.tilt_departure_deg AS r_tilt_departure,
        l.offset_arrival_mm AS l_offset_arrival,
        r.offset_arrival_mm AS r_offset_arrival,
        l.offset_departure_mm AS l_offset_departure,
        r.offset_departure_mm AS r_offset_departure
    FROM mart.fits AS fits
    INNER JOIN mart.feet AS l ON l.fit_no = fits.fit_no AND l.side = 'left'
    INNER JOIN mart.feet AS r ON r.fit_no = fits.fit_no AND r.side = 'right'
    WHERE fits.visit_no = 1 AND {fits_selected}
),

-- Riders of the same recorded values are counted first: all that follows has fewer rows.
recorded AS MATERIALIZED (
    SELECT
        'tilt' AS quantity,
        1 AS step,
        'arrival' AS moment,
        l_tilt_arrival AS left_value,
        r_tilt_arrival AS right_value,
        count(*) AS n
    FROM firsts
    WHERE left_value IS NOT NULL AND right_value IS NOT NULL
    GROUP BY left_value, right_value
    UNION ALL
    SELECT 'tilt', 1, 'departure', l_tilt_departure AS left_value, r_tilt_departure AS right_value, count(*)
    FROM firsts
    WHERE left_value IS NOT NULL AND right_value IS NOT NULL AND has_departure
    GROUP BY left_value, right_value
    UNION ALL
    SELECT 'offset', 5, 'arrival', l_offset_arrival AS left_value, r_offset_arrival AS right_value, count(*)
    FROM firsts
    WHERE left_value IS NOT NULL AND right_value IS NOT NULL
    GROUP BY left_value, right_value
    UNION ALL
    SELECT 'offset', 5, 'departure', l_offset_departure AS left_value, r_offset_departure AS right_value, count(*)
    FROM firsts
    WHERE left_value IS NOT NULL AND right_value IS NOT NULL AND has_departure
    GROUP BY left_value, right_value
),

-- Differences of recorded decimals: 3.3 less 1.3 must be 2, the limit itself.
points AS (
    SELECT
        quantity,
        moment,
        left_value,
        right_value,
        n,
        CASE quantity
            WHEN 'tilt' THEN round(abs(right_value - left_value), 6) >= $knee_side_difference_deg
            ELSE round(abs(right_value - left_value), 6) > $knee_offset_difference_mm
        END AS is_beyond
    FROM recorded
),

sizes AS (
    SELECT counted.quantity, counted.step * widths.width AS cell_size
    FROM (
        SELECT quantity, step, max(n_riders) AS n_riders
        FROM (SELECT quantity, step, moment, sum(n) AS n_riders FROM recorded GROUP BY quantity, step, moment)
        GROUP BY quantity, step
    ) AS counted
    INNER JOIN (VALUES (0.0), (0.25), (0.5), (1.0), (2.0)) AS widths (width)
        ON (widths.width = 0) = (counted.n_riders <= $most_cells)
),

cells AS (
    SELECT
        points.quantity,
        points.moment,
        CAST(sizes.cell_size AS DOUBLE) AS cell_size,
        coalesce(round(points.left_value / nullif(sizes.cell_size, 0)) * sizes.cell_size + 0, points.left_value) AS left_value,
        coalesce(round(points.right_value / nullif(sizes.cell_size, 0)) * sizes.cell_size + 0, points.right_value) AS right_value,
        points.is_beyond,
        CAST(sum(points.n) AS BIGINT) AS n_riders
    FROM points
    INNER JOIN sizes ON sizes.quantity = points.quantity
    GROUP BY ALL
),

kept AS (
    SELECT quantity, min(cell_size) AS cell_size
    FROM (
        SELECT quantity, cell_size, max(n_cells) AS n_cells
        FROM (SELECT quantity, cell_size, moment, count(*) AS n_cells FROM cells GROUP BY quantity, cell_size, moment)
        GROUP BY quantity, cell_size
    )
    WHERE n_cells <= $most_cells
    GROUP BY quantity
)

SELECT
    cells.quantity,
    cells.moment,
    cells.cell_size,
    cells.left_value,
    cells.right_value,
    cells.is_beyond,
    cells.n_riders
FROM cells
INNER JOIN kept ON kept.quantity = cells.quantity AND kept.cell_size = cells.cell_size
ORDER BY cells.quantity DESC, cells.moment, cells.left_value, cells.right_value, cells.is_beyond;
