-- Adds: the rejects that this load brought again in mended form. Grain: one row a reject. Inputs: staged_{table}.
-- One record of a file may stand for several rejects, whose numbers are parted by semicolons.
INSERT INTO raw.mended
SELECT DISTINCT $load_id, '{table}', number
FROM (
    SELECT TRY_CAST(trim(unnest(string_split(reject_no, ';'))) AS BIGINT) AS number
    FROM staged_{table}
    WHERE reject_no IS NOT NULL
)
WHERE number IS NOT NULL;
