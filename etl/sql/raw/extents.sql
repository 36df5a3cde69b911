-- Answers: where the staged records of some files begin, and how many they are. Grain and key: file_no. Inputs: staged_{table}.
SELECT
    file_no,
    min(rowid) AS first_row,
    count(*) AS n
FROM staged_{table}
WHERE list_contains($nos, file_no)
GROUP BY file_no;
