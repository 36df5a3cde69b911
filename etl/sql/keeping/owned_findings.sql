-- Makes: owned_findings, the findings whose row belongs to owned_ids. Grain and key: one row a finding (its rowid).
-- $ragged: those of rows that could not be taken apart, and name one as texts. Inputs: raw.findings, owned_ids.
CREATE OR REPLACE TEMP TABLE owned_findings AS
SELECT rowid AS finding, load_id
FROM raw.findings
WHERE {cells} OR rowid IN (SELECT unnest($ragged));
