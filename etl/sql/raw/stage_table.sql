-- Makes: staged_{table}, empty. Grain: one row a record of the load's files of one table, in the files' order.
-- reject_no: the rejects that the record mends, parted by semicolons, where its file was written by `fitledger rejects`.
CREATE OR REPLACE TEMP TABLE staged_{table} (
    file_no INTEGER NOT NULL,
    {columns},
    is_sound BOOLEAN NOT NULL,
    reject_no VARCHAR,
    is_whole BOOLEAN NOT NULL,
    filled BIGINT
);
