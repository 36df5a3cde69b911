-- Makes: owned_findings, the findings whose row belongs to owned_ids. Grain and key: one row a finding (its rowid).
-- A row that could not be taken apart is searched as a text. Inputs: raw.findings, owned_ids.
CREATE OR REPLACE TEMP TABLE owned_findings AS
SELECT rowid AS finding, load_id
FROM raw.findings
WHERE {cells} OR (rule = 'cells' AND regexp_matches(received, $pattern));
