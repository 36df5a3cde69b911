-- Makes: core.{table}, the current rows whose keys name something. Grain and key: {key}. Inputs: raw.{table}, its parents' core.
-- Whole, or what a load touched of it: {is_in_part} narrows the rows, {make} makes the table or adds to it. The rows of one
-- session are made in one go, so that they stand together and in order.
{make}
SELECT {columns}
FROM raw."{table}" AS version {named}
WHERE version.superseded_by IS NULL {resolved} AND {is_in_part}
ORDER BY {key};
