-- Answers: the columns of the raw tables. Grain and key: table_name, column_name.
SELECT table_name, column_name
FROM information_schema.columns
WHERE table_schema = 'raw'
ORDER BY table_name, column_name;
