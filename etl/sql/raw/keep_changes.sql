-- Adds: to the first finding of each knee of each file the changes of its log, as JSON text: a list of n, their order, and
-- received, the change as received. Grain: one row a file and knee. Inputs: found, the files' changes.
CREATE OR REPLACE TEMP TABLE knee_changes AS
WITH first_findings AS (
    SELECT {knee_of_cells} AS knee, file_no, min(rowid) AS finding
    FROM found
    WHERE list_contains($file_nos, file_no) AND record IS NOT NULL
    GROUP BY ALL
),

changes AS (
    SELECT {knee} AS knee, n, any_value(received) AS received
    FROM ({changes})
    GROUP BY ALL
)

SELECT
    first_findings.finding,
    CAST(to_json(list({'n': changes.n, 'received': changes.received} ORDER BY changes.n)) AS VARCHAR) AS changes
FROM first_findings
INNER JOIN changes ON changes.knee = first_findings.knee
GROUP BY first_findings.finding;

UPDATE found SET changes = knee_changes.changes FROM knee_changes WHERE found.rowid = knee_changes.finding;
