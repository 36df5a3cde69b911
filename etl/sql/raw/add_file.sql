-- Adds: one file of a load to raw.files. Grain and key: load_id, file_no.
INSERT INTO raw.files (
    load_id, file_no, file, "table", digest, detected, read, stored, replaced, unchanged, rejected, waiting, refused, words
)
VALUES (
    $load_id, $file_no, $file, $table, $digest, $detected, $read, $stored, $replaced, $unchanged, $rejected, $waiting,
    $refused, $words
);
