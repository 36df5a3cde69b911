-- Makes: raw.findings with the columns of version 5, and loads with rejected rows of mapped files to be read anew.
-- Grain: one row a finding; one row a load. Inputs: raw.findings, raw.files, raw.loads.
ALTER TABLE raw.findings ADD COLUMN IF NOT EXISTS layout VARCHAR;

ALTER TABLE raw.findings ADD COLUMN IF NOT EXISTS source_record BIGINT;

ALTER TABLE raw.findings ADD COLUMN IF NOT EXISTS changes VARCHAR;

UPDATE raw.loads
SET fingerprint = ''
WHERE load_id IN (SELECT load_id FROM raw.files WHERE rejected > 0 AND contains(detected, '; mapping: '));
