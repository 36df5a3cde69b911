-- Answers: every value that stands where one table's ids stand, in its references and in rejected rows, and is none of its
-- keys. Grain and key: value. Inputs: raw.findings, the raw tables that {references} reads.
SELECT value
FROM (
    {references}
    UNION
    SELECT trim(json_extract_string(findings.cells, '$."' || holders.name || '"')) AS value
    FROM raw.findings AS findings
    INNER JOIN (VALUES {cells}) AS holders(holder, name) ON holders.holder = findings."table"
)
WHERE
    (strlen(value) <> length(value) OR regexp_matches(lower(value), $pattern))
    AND value NOT IN (SELECT "{key}" FROM raw."{parent}" WHERE "{key}" IS NOT NULL)
ORDER BY value;
