-- Makes: raw.findings with the column of version 6, and loads with rejected rows to be read anew, of which some may be stored now
-- without their faulty cell. Grain: one row a finding; one row a load. Inputs: raw.findings, raw.loads.
ALTER TABLE raw.findings ADD COLUMN IF NOT EXISTS is_cell BOOLEAN DEFAULT false;

UPDATE raw.loads
SET fingerprint = ''
WHERE load_id IN (SELECT load_id FROM raw.findings WHERE rule <> 'orphan');
