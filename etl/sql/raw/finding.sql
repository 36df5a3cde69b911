-- Adds: one rule's findings among the faulty rows of the file, or files, just read. Grain: one row a rule and record. Inputs:
-- faulty.
INSERT INTO found
SELECT
    file_no, record, NULL, $column, $rule, {value}, $before || {value} || $after || CASE WHEN {is_cell} THEN $kept ELSE '' END,
    received, {cells}, {row_key}, source_record, NULL, {is_cell}
FROM faulty
WHERE {broken};
