-- Answers: every table of the warehouse. Grain and key: schema_name, table_name.
SELECT schema_name, table_name
FROM duckdb_tables()
WHERE schema_name IN ('raw', 'core', 'mart') AND NOT internal
ORDER BY schema_name, table_name;
