-- Makes: the versions and sightings of the touched rows of one table anew, as if load $undone had never been. Grain: raw.
-- An event is a version where it differs from the one before it, else a sighting of that version.
-- Inputs: events, touched.
CREATE OR REPLACE TEMP TABLE linked AS
WITH compared AS (
    SELECT
        events.*,
        coalesce(struct_pack({content}) IS DISTINCT FROM lag(struct_pack({content})) OVER in_turn, true)
        OR row_number() OVER in_turn = 1 AS is_version
    FROM events
    WINDOW in_turn AS (PARTITION BY {key} ORDER BY load_id, file_no, record)
)

SELECT
    compared.*,
    count(*) FILTER (WHERE is_version) OVER (PARTITION BY {key} ORDER BY load_id, file_no, record) AS version_no
FROM compared;

DELETE FROM raw.sightings
WHERE
    "table" = '{table}'
    AND (
        load_id = $undone
        OR EXISTS (
            SELECT 1
            FROM raw."{table}" AS version
            SEMI JOIN touched ON {same_key_as_touched}
            WHERE
                version.load_id = version_load AND version.file_no = version_file AND version.record = version_record
        )
    );

DELETE FROM raw."{table}" AS version
WHERE EXISTS (SELECT 1 FROM touched WHERE {same_key_as_touched});

INSERT INTO raw."{table}" (load_id, file_no, record, superseded_by, {columns})
SELECT load_id, file_no, record, lead(load_id) OVER (PARTITION BY {key} ORDER BY version_no), {columns}
FROM linked
WHERE is_version
ORDER BY load_id, file_no, record;

INSERT INTO raw.sightings
SELECT
    '{table}', again.load_id, again.file_no, again.record, version.load_id, version.file_no, version.record
FROM linked AS again
INNER JOIN linked AS version ON version.version_no = again.version_no AND version.is_version AND {same_key_as_version}
WHERE NOT again.is_version
ORDER BY again.load_id, again.file_no, again.record;
