-- Fragment: the values of one column of texts that may name one of some ids, and how many rows hold each. Every text that is not
-- ASCII alone, since other signs may fold to the same, and those that match $pattern in lower case. Key: column_no, value.
SELECT {column_no} AS column_no, t."{column}" AS value, count(*) AS n
FROM {place} AS t
WHERE
    ({where})
    AND (strlen(t."{column}") <> length(t."{column}") OR regexp_matches(lower(t."{column}"), $pattern))
GROUP BY t."{column}"
