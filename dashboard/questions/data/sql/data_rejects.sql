-- Answers: every finding of a rejected row, and of a cell that was left out of a row that is in (is_cell). Grain: one row a
-- finding. Inputs: raw.rejects, raw.findings.
WITH faulty_cells AS (
    SELECT DISTINCT "table", reject_no
    FROM raw.findings
    WHERE is_cell AND released_by IS NULL
)

SELECT
    rejects.load_id, rejects.file, rejects.line, rejects."table", rejects."column", rejects.rule, rejects.value, rejects.words,
    rejects.received,
    faulty_cells.reject_no IS NOT NULL AS is_cell
FROM raw.rejects AS rejects
LEFT JOIN faulty_cells ON faulty_cells."table" = rejects."table" AND faulty_cells.reject_no = rejects.reject_no
ORDER BY rejects.load_id, rejects.file, rejects.line, rejects.reject_no;
