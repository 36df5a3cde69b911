-- Makes: wanted_records, the staged records of the files read as one that are wanted whole. Grain and key: record, its number
-- among those of all of them. Inputs: staged_{table}, read_files.
CREATE OR REPLACE TEMP TABLE wanted_records AS
SELECT staged.rowid - files.first_row + files.rows_before + 1 AS record
FROM staged_{table} AS staged
INNER JOIN read_files AS files ON files.file_no = staged.file_no
{others}
WHERE {wanted};
