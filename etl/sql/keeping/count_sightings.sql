-- Answers: how many sightings are of a version of one table that belongs to owned_ids. Grain: one row.
-- Inputs: raw.sightings, raw.{table}, owned_ids.
SELECT count(*) AS n
FROM raw.sightings AS sightings
INNER JOIN raw."{table}" AS t
    ON
        t.load_id = sightings.version_load
        AND t.file_no = sightings.version_file
        AND t.record = sightings.version_record
WHERE sightings."table" = '{table}' AND {owned};
