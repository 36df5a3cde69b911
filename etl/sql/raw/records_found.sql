-- Answers: the records of some files on which there are findings without a line yet, and the lines of the rows whose cells
-- could not be told apart. Grain and key: file_no. Inputs: found.
SELECT
    file_no,
    list(DISTINCT source_record) FILTER (WHERE line IS NULL) AS records,
    list(DISTINCT line) FILTER (WHERE rule = 'cells') AS uneven
FROM found
WHERE list_contains($nos, file_no)
GROUP BY file_no
HAVING count(*) FILTER (WHERE line IS NULL) > 0;
