-- Answers: the rows of the file just read whose cells could not be told apart. Grain and key: line_byte_position.
SELECT
    line_byte_position,
    -- The reader counts the blank lines before a row to it.
    ltrim(any_value(csv_line), chr(10) || chr(13)) AS csv_line,
    CAST(first(error_type ORDER BY error_type) AS VARCHAR) AS error_type,
    first(error_message ORDER BY error_type) AS error_message
FROM ragged_rows
GROUP BY line_byte_position
ORDER BY line_byte_position;
