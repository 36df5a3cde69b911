-- Makes: the ledger of loads. Grain: raw.warehouse one row; raw.loads one row a load that changed the warehouse;
-- raw.files one row a file of such a load; raw.line_jumps one row where a file's line runs ahead of its record by another
-- number than before; raw.sightings one row a record that brought nothing new; raw.findings one row a rule that a record of
-- such a load breaks; raw.layouts one row a way in which rejected rows were read; raw.mended one row a reject that a load
-- brought again; raw.numbered_times one row a time by which captures of a visit were numbered, and load; raw.unresolved one row a current version that
-- core leaves out; raw.warnings one row a soft warning on what core holds; raw.undone_files one row a file of an undone
-- load; raw.forgotten one row a forgotten rider and one row a session of theirs.
-- Keys: load_id; (load_id, file_no); (load_id, file_no, record). A load that was undone keeps its row in raw.loads only.
CREATE SCHEMA IF NOT EXISTS raw;
CREATE SCHEMA IF NOT EXISTS core;
CREATE SCHEMA IF NOT EXISTS mart;

CREATE TABLE IF NOT EXISTS raw.warehouse (version INTEGER NOT NULL);

-- fingerprint: of the files, their names and all else that decides what a load makes of them.
CREATE TABLE IF NOT EXISTS raw.loads (
    load_id INTEGER NOT NULL,
    loaded_at TIMESTAMP NOT NULL,
    load_date DATE NOT NULL,
    fingerprint VARCHAR NOT NULL,
    undone_at TIMESTAMP
);

CREATE TABLE IF NOT EXISTS raw.files (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    file VARCHAR NOT NULL,
    "table" VARCHAR,
    digest VARCHAR,
    detected VARCHAR NOT NULL,
    read BIGINT NOT NULL,
    stored BIGINT NOT NULL,
    replaced BIGINT NOT NULL,
    unchanged BIGINT NOT NULL,
    rejected BIGINT NOT NULL,
    waiting BIGINT NOT NULL,
    refused BOOLEAN NOT NULL,
    words VARCHAR NOT NULL
);

CREATE TABLE IF NOT EXISTS raw.line_jumps (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    record BIGINT NOT NULL,
    ahead BIGINT NOT NULL
);

CREATE TABLE IF NOT EXISTS raw.sightings (
    "table" VARCHAR NOT NULL,
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    record BIGINT NOT NULL,
    version_load INTEGER NOT NULL,
    version_file INTEGER NOT NULL,
    version_record BIGINT NOT NULL
);

-- reject_no numbers a rejected row by its content: its last three digits are taken from the row itself, so that a number
-- of another warehouse is not mistaken for one of this. released_by: the load that mended it. received: the record as it was
-- received, cells: what the contract's columns were made of it. layout: how the record was read, NULL in contract form.
-- source_record: the record of its file. changes: see keep_changes.sql. is_cell: the row is stored without the faulty cell.
CREATE TABLE IF NOT EXISTS raw.findings (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    file VARCHAR NOT NULL,
    record BIGINT,
    line BIGINT NOT NULL,
    "table" VARCHAR NOT NULL,
    "column" VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,
    value VARCHAR,
    words VARCHAR NOT NULL,
    received VARCHAR NOT NULL,
    cells VARCHAR NOT NULL,
    row_key VARCHAR,
    reject_no BIGINT NOT NULL,
    released_by INTEGER,
    layout VARCHAR,
    source_record BIGINT,
    changes VARCHAR,
    is_cell BOOLEAN NOT NULL DEFAULT false
);

-- content: form, columns and mapping of a file whose rows were rejected, as JSON (etl/source.py, Layout).
CREATE TABLE IF NOT EXISTS raw.layouts (
    layout VARCHAR NOT NULL,
    content VARCHAR NOT NULL
);

-- told_at: as a number, by which captures of a visit are ordered; side: empty where both sides share a number.
CREATE TABLE IF NOT EXISTS raw.numbered_times (
    load_id INTEGER NOT NULL,
    "table" VARCHAR NOT NULL,
    session_id VARCHAR NOT NULL,
    side VARCHAR NOT NULL,
    told_at DOUBLE NOT NULL,
    capture_no BIGINT NOT NULL
);

CREATE TABLE IF NOT EXISTS raw.mended (
    load_id INTEGER NOT NULL,
    "table" VARCHAR NOT NULL,
    reject_no BIGINT NOT NULL
);

CREATE TABLE IF NOT EXISTS raw.unresolved (
    "table" VARCHAR NOT NULL,
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    record BIGINT NOT NULL,
    row_key VARCHAR NOT NULL,
    "column" VARCHAR NOT NULL,
    value VARCHAR NOT NULL,
    is_waiting BOOLEAN NOT NULL
);

-- row_key: the row that the words speak of.
CREATE TABLE IF NOT EXISTS raw.warnings (
    rule VARCHAR NOT NULL,
    "table" VARCHAR NOT NULL,
    "column" VARCHAR NOT NULL,
    row_key VARCHAR NOT NULL,
    session_id VARCHAR,
    value VARCHAR,
    words VARCHAR NOT NULL
);

-- What a watched folder must not load again by itself.
CREATE TABLE IF NOT EXISTS raw.undone_files (
    load_id INTEGER NOT NULL,
    digest VARCHAR NOT NULL
);

-- No id is kept: a mark is a keyed hash of one. rider_mark: whose session it is; for the rider's own row the same as mark.
CREATE TABLE IF NOT EXISTS raw.forgotten (
    rider_mark VARCHAR NOT NULL,
    mark VARCHAR NOT NULL,
    salt VARCHAR NOT NULL,
    forgotten_on DATE NOT NULL
);

-- The findings that stand: each once, however often its row was loaded again, until it is mended. An orphan stands where
-- its current version came from, since which load was the first to find it depends on what else had been loaded.
CREATE VIEW IF NOT EXISTS raw.rejects AS
WITH standing AS (
    SELECT reject_no, load_id, file, line, "table", "column", rule, value, words, received, cells, row_key
    FROM raw.findings
    WHERE released_by IS NULL
    QUALIFY load_id = min(load_id) OVER (PARTITION BY "table", reject_no, "column", rule)
),

placed AS (
    SELECT
        unresolved."table", unresolved.row_key, unresolved."column", unresolved.value, unresolved.load_id, files.file,
        unresolved.record + coalesce((
            SELECT arg_max(jumps.ahead, jumps.record)
            FROM raw.line_jumps AS jumps
            WHERE
                jumps.load_id = unresolved.load_id
                AND jumps.file_no = unresolved.file_no
                AND jumps.record <= unresolved.record
        ), 1) AS line
    FROM raw.unresolved AS unresolved
    INNER JOIN raw.files AS files ON files.load_id = unresolved.load_id AND files.file_no = unresolved.file_no
    WHERE NOT unresolved.is_waiting
)

SELECT
    standing.reject_no,
    coalesce(placed.load_id, standing.load_id) AS load_id,
    coalesce(placed.file, standing.file) AS file,
    coalesce(placed.line, standing.line) AS line,
    standing."table", standing."column", standing.rule, standing.value, standing.words, standing.received,
    standing.cells, standing.row_key
FROM standing
LEFT JOIN placed
    ON
        standing.rule = 'orphan'
        AND placed."table" = standing."table"
        AND placed.row_key = standing.row_key
        AND placed."column" = standing."column"
        AND placed.value = standing.value;

CREATE VIEW IF NOT EXISTS raw.waiting AS
SELECT "table", load_id, file_no, "column", value, count(*) AS n
FROM raw.unresolved
WHERE is_waiting
GROUP BY "table", load_id, file_no, "column", value;
