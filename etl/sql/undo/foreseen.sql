-- Answers: how many versions of rows of one table load $undone brought, and how many of these rows no other load brought.
-- Grain: one row. Inputs: raw.{table}, raw.sightings.
SELECT count(*) AS versions, count(*) FILTER (WHERE NOT is_kept) AS gone
FROM (
    SELECT
        EXISTS (
            SELECT 1
            FROM raw."{table}" AS other
            WHERE {same_key} AND other.load_id <> $undone
        )
        OR EXISTS (
            SELECT 1
            FROM raw.sightings AS sightings
            WHERE
                sightings."table" = '{table}'
                AND sightings.load_id <> $undone
                AND sightings.version_load = version.load_id
                AND sightings.version_file = version.file_no
                AND sightings.version_record = version.record
        ) AS is_kept
    FROM raw."{table}" AS version
    WHERE version.load_id = $undone
) AS versions;
