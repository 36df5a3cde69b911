-- Adds: the rows of one file, or of files read as one, to the staging table of its table. Grain: one row a record, in the
-- files' order.
-- Inputs: the file, as typed cells. is_sound tells whether the row can be stored, is_whole whether it breaks no rule at all.
INSERT INTO staged_{table}
SELECT list_extract($order, position + 1), {values}, {is_sound}, {reject_no}, {is_whole}, TRY_CAST(x_filled AS BIGINT)
FROM ({typed_cells});
