-- Makes: found and staged_files, empty. Grain: one row a rule and rejected record of this load; one row a file (file_no).
-- source_record: the record of the file that the rejected one is made of. changes: see keep_changes.sql. is_cell: the row is
-- stored without the faulty cell.
CREATE OR REPLACE TEMP TABLE found (
    file_no INTEGER NOT NULL,
    record BIGINT,
    line BIGINT,
    "column" VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,
    value VARCHAR,
    words VARCHAR NOT NULL,
    received VARCHAR NOT NULL,
    cells VARCHAR NOT NULL,
    row_key VARCHAR,
    source_record BIGINT,
    changes VARCHAR,
    is_cell BOOLEAN NOT NULL
);

CREATE OR REPLACE TEMP TABLE staged_files (
    file_no INTEGER PRIMARY KEY,
    file VARCHAR NOT NULL,
    "table" VARCHAR NOT NULL,
    first_row BIGINT NOT NULL
);
