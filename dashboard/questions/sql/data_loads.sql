-- Answers: the loads that changed the warehouse. Grain and key: load_id. Inputs: raw.loads, raw.files.
SELECT
    loads.load_id,
    strftime(loads.loaded_at, '%Y-%m-%dT%H:%M:%SZ') AS loaded_at,
    count(*) AS files,
    sum(files.read)::BIGINT AS read,
    sum(files.stored)::BIGINT AS stored,
    sum(files.replaced)::BIGINT AS replaced,
    sum(files.unchanged)::BIGINT AS unchanged,
    sum(files.rejected)::BIGINT AS rejected,
    sum(files.waiting)::BIGINT AS waiting
FROM raw.loads AS loads
INNER JOIN raw.files AS files ON files.load_id = loads.load_id
GROUP BY loads.load_id, loads.loaded_at
ORDER BY loads.load_id;
