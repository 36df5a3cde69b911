-- Adds: the finding of one row whose cells could not be told apart. Grain: one row. Inputs: the reader's message.
INSERT INTO found
VALUES (
    $file_no, NULL, $line, $column, 'cells', left($received, 80), $words,
    CAST(json_object('row', $received) AS VARCHAR), CAST(json_object('row', $received) AS VARCHAR), NULL
);
