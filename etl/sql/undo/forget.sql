-- Removes: what the ledger holds of load $undone but that it was there, was undone, and its files' digests.
-- Releases are taken back, to be decided again from the loads that remain.
INSERT INTO raw.undone_files
SELECT DISTINCT load_id, digest
FROM raw.files
WHERE load_id = $undone AND digest IS NOT NULL
ORDER BY digest;

DELETE FROM raw.files WHERE load_id = $undone;

DELETE FROM raw.line_jumps WHERE load_id = $undone;

DELETE FROM raw.findings WHERE load_id = $undone;

DELETE FROM raw.mended WHERE load_id = $undone;

DELETE FROM raw.numbered_times WHERE load_id = $undone;

UPDATE raw.findings SET released_by = NULL WHERE rule <> 'orphan';

UPDATE raw.loads SET undone_at = $now WHERE load_id = $undone;
