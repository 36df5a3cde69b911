-- Removes: notes that a reject was brought again, where the reject is no longer there.
DELETE FROM raw.mended
WHERE NOT EXISTS (
    SELECT 1
    FROM raw.findings AS findings
    WHERE findings."table" = raw.mended."table" AND findings.reject_no = raw.mended.reject_no
);
