-- Makes: events, everything that loads other than $undone brought for the rows of one table that it brought versions of.
-- Grain: one row a record of a load. Inputs: raw.{table}, raw.sightings.
CREATE OR REPLACE TEMP TABLE touched AS
SELECT DISTINCT {key}
FROM raw."{table}"
WHERE load_id = $undone;

CREATE OR REPLACE TEMP TABLE events AS
SELECT version.load_id, version.file_no, version.record, {version_columns}
FROM raw."{table}" AS version
SEMI JOIN touched ON {same_key_as_touched}
WHERE version.load_id <> $undone
UNION ALL
SELECT sightings.load_id, sightings.file_no, sightings.record, {version_columns}
FROM raw.sightings AS sightings
INNER JOIN raw."{table}" AS version
    ON
        version.load_id = sightings.version_load
        AND version.file_no = sightings.version_file
        AND version.record = sightings.version_record
SEMI JOIN touched ON {same_key_as_touched}
WHERE sightings."table" = '{table}' AND sightings.load_id <> $undone;
