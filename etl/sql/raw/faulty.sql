-- Makes: faulty, the records of one file that are rejected, whole. Grain and key: record. Inputs: the file, wanted_records.
CREATE OR REPLACE TEMP TABLE faulty AS
WITH numbered AS (
    SELECT row_number() OVER () AS record, cells.*
    FROM ({relation}) AS cells
)

{typed_cells};
