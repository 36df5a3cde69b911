-- Makes: staged_{table}, empty. Grain: one row a record of the load's files of one table, in the files' order.
CREATE OR REPLACE TEMP TABLE staged_{table} (
    file_no INTEGER NOT NULL,
    {columns},
    is_sound BOOLEAN NOT NULL
);
