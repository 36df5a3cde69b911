-- Answers: the knee of each rejected record of one table, and where they are kept with it the changes that its file tells of it.
-- Grain: one row a finding of a record. Inputs: raw.findings.
SELECT load_id, file_no, source_record AS record, {knee} AS knee, changes
FROM raw.findings
WHERE "table" = $table AND layout IS NOT NULL AND source_record IS NOT NULL;
