-- Makes: repeated_{table}, the keys that stand more than once among the staged rows. Grain and key: {key}.
-- is_duplicate: with different content. has_repeats: false where counting has shown
-- that there is none. Inputs: staged_{table}.
CREATE OR REPLACE TEMP TABLE repeated_{table} AS
SELECT
    {key},
    count(DISTINCT hash({columns})) > 1 AS is_duplicate,
    min(rowid) AS first_row
FROM staged_{table}
WHERE is_sound AND {has_repeats}
GROUP BY {key}
HAVING count(*) > 1;
