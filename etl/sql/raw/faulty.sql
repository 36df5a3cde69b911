-- Makes: faulty, the records of the file just read, or of the files read as one, that are rejected, whole. Grain and key: one row
-- a record (file_no, record). Inputs: the file, wanted_records, read_files.
CREATE OR REPLACE TEMP TABLE faulty AS
WITH numbered AS (
    SELECT row_number() OVER () AS record, cells.*
    FROM ({relation}) AS cells
),

placed AS (
    SELECT
        numbered.* REPLACE (
            numbered.record - files.rows_before AS record,
            numbered.source_record - files.records_before AS source_record
        ),
        files.file_no
    FROM numbered
    SEMI JOIN wanted_records ON wanted_records.record = numbered.record
    INNER JOIN read_files AS files ON files.position = numbered.position
)

{typed_cells};
