-- Adds: the findings of the rows whose cells could not be told apart. Grain: one row a line. Inputs: ragged_told.
INSERT INTO found
SELECT
    file_no, NULL, line, $column, 'cells', left(received, 80), words,
    CAST(json_object('row', received) AS VARCHAR), CAST(json_object('row', received) AS VARCHAR), NULL, NULL,
    NULL, false
FROM ragged_told
ORDER BY file_no, line;
