-- Makes demo.clock: the date on which a demo warehouse stands still. Grain: one row. Key: none. Inputs: $today.
CREATE SCHEMA IF NOT EXISTS demo;
CREATE OR REPLACE TABLE demo.clock AS SELECT CAST($today AS DATE) AS today;
