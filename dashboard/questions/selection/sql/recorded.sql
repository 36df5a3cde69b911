-- Answers: whether a warehouse holds a row of each table, and a cell of each column, that a studio may leave unrecorded. Grain: one
-- row, a column each ({held}). Inputs: core.*.
SELECT {held};
