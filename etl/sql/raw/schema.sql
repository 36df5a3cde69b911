-- Makes: the ledger of loads. Grain: raw.warehouse one row; raw.loads one row a load that changed the warehouse;
-- raw.files one row a file of such a load; raw.rejects one row a finding of a rejected row; raw.waiting one row a table,
-- load, file, column and missing session.
-- Keys: load_id; (load_id, file_no); reject_no.
CREATE SCHEMA IF NOT EXISTS raw;
CREATE SCHEMA IF NOT EXISTS core;
CREATE SCHEMA IF NOT EXISTS mart;

CREATE TABLE IF NOT EXISTS raw.warehouse (version INTEGER NOT NULL);

CREATE TABLE IF NOT EXISTS raw.loads (
    load_id INTEGER PRIMARY KEY,
    loaded_at TIMESTAMP NOT NULL
);

CREATE TABLE IF NOT EXISTS raw.files (
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    file VARCHAR NOT NULL,
    "table" VARCHAR,
    detected VARCHAR NOT NULL,
    read BIGINT NOT NULL,
    stored BIGINT NOT NULL,
    replaced BIGINT NOT NULL,
    unchanged BIGINT NOT NULL,
    rejected BIGINT NOT NULL,
    waiting BIGINT NOT NULL,
    refused BOOLEAN NOT NULL,
    words VARCHAR NOT NULL,
    PRIMARY KEY (load_id, file_no)
);

CREATE SEQUENCE IF NOT EXISTS raw.reject_no;

CREATE TABLE IF NOT EXISTS raw.rejects (
    reject_no BIGINT DEFAULT nextval('raw.reject_no'),
    load_id INTEGER NOT NULL,
    file VARCHAR NOT NULL,
    line BIGINT NOT NULL,
    "table" VARCHAR NOT NULL,
    "column" VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,
    value VARCHAR,
    words VARCHAR NOT NULL,
    received VARCHAR NOT NULL,
    row_key VARCHAR
);

CREATE TABLE IF NOT EXISTS raw.waiting (
    "table" VARCHAR NOT NULL,
    load_id INTEGER NOT NULL,
    file_no INTEGER NOT NULL,
    "column" VARCHAR NOT NULL,
    value VARCHAR NOT NULL,
    n BIGINT NOT NULL
);
