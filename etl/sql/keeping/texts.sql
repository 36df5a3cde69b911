-- Answers: every column of every table that holds texts. Grain and key: schema_name, table_name, column_name.
SELECT columns.schema_name, columns.table_name, columns.column_name
FROM duckdb_columns() AS columns
INNER JOIN duckdb_tables() AS tables
    ON
        tables.database_name = columns.database_name
        AND tables.schema_name = columns.schema_name
        AND tables.table_name = columns.table_name
WHERE columns.data_type = 'VARCHAR' AND columns.schema_name IN ('raw', 'core', 'mart') AND NOT columns.internal
ORDER BY columns.schema_name, columns.table_name, columns.column_index;
