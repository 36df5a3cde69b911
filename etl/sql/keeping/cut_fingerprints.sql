-- Removes: the fingerprints of loads that brought rows of owned_ids, so that the same folder is read again, row by row,
-- and the files' digests stay (a digest tells nothing of a row).
UPDATE raw.loads
SET fingerprint = ''
WHERE
    load_id IN ({loads})
    OR load_id IN (SELECT load_id FROM owned_findings)
    OR load_id IN (
        SELECT load_id
        FROM raw.sightings
        WHERE version_load IN ({loads})
    );
