-- Adds: the rows of one file, or of files read as one, to the staging table of its table. Grain: one row a record, in the
-- files' order.
-- Inputs: the file, as typed cells. is_sound tells whether the row breaks no rule on its own cells.
INSERT INTO staged_{table}
SELECT {file_no}, {values}, {is_sound}, {reject_no}
FROM ({typed_cells});
