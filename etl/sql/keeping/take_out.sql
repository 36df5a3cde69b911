-- Removes: the versions of one table that belong to owned_ids, and the sightings of them.
DELETE FROM raw.sightings
WHERE
    "table" = '{table}'
    AND EXISTS (
        SELECT 1
        FROM raw."{table}" AS t
        WHERE t.load_id = version_load AND t.file_no = version_file AND t.record = version_record AND {owned}
    );

DELETE FROM raw."{table}" AS t
WHERE {owned};
