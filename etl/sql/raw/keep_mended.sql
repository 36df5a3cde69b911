-- Adds: the rejects that this load brought again in mended form. Grain: one row a reject. Inputs: staged_{table}.
INSERT INTO raw.mended
SELECT DISTINCT $load_id, '{table}', reject_no
FROM staged_{table}
WHERE reject_no IS NOT NULL;
