-- Answers: ids that differ only by leading zeros, case, spaces or signs. Grain and key: one row a group of such ids.
-- Inputs: core.{table}, raw.unresolved (rows that wait for an id which is written otherwise elsewhere).
-- What parts numbers is kept apart: 1-23 is not 12-3.
WITH ids AS (
    SELECT "{column}" AS id FROM core."{table}"
    UNION
    SELECT value FROM raw.unresolved WHERE "column" = '{column}'
),

plain AS (
    SELECT id, trim(regexp_replace(lower(id), '[^\pL\pN]+', ' ', 'g')) AS words
    FROM ids
),

bare AS (
    SELECT
        id,
        regexp_replace(
            regexp_replace(regexp_replace(words, '(\pL) (\pN|\pL)', '\1\2', 'g'), '(\pN) (\pL)', '\1\2', 'g'),
            '(^|[^\pN])0+(\pN)', '\1\2', 'g'
        ) AS bare
    FROM plain
    WHERE words <> ''
)

SELECT list(id ORDER BY id) AS ids, bool_and(regexp_full_match(trim(id), '[0-9]+')) AS are_numbers
FROM bare
GROUP BY bare
HAVING count(*) > 1
ORDER BY min(id);
