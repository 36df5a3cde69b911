"""How much a file may ask of the machine. A file beyond one of these limits is refused with a sentence, and no other file.

Rows, megabytes and rejected rows of a file, and the files of a folder, are the studio's to change ([reading] in
shared/settings.py); the rest follows from how the readers work. The set-based reader loses its place in records larger than
its buffer, so that the limit of a record stays well below it. TOML has its own, in shared/toml_file.py.
"""

LINE_BYTES = 1_000_000  # one record of text, quoted line breaks included
COLUMNS = 1_000
NAME_CHARACTERS = 300  # the name of one column
WORKBOOK_BYTES = 1024**3  # the XML of one workbook, which its reader holds in memory
PART_BYTES = 8 * 1024**2  # the XML of a workbook's list of sheets, of its links, of its styles
SHARED_TEXTS = 5_000_000  # texts that the cells of a workbook share
UNPACKED_RATIO = 200  # unpacked to packed, beyond the first UNPACKED_FREE_BYTES
UNPACKED_FREE_BYTES = 64 * 1024**2
MEMBERS = 1_000  # files in one archive
SHEET_CELLS = 20_000_000  # rows x columns of one sheet, empty ones included
WORKBOOK_CELLS = 60_000_000  # those of all sheets of one workbook
JSON_FREE_CELLS = 10_000_000  # records x keys of JSON lines; beyond it, a cell a byte: records repeat the keys that they fill
# Rows that Parquet may claim a byte, beyond the first free ones. Keys are unique, so that no export comes near: the
# demo's tables hold up to 1.0 row a byte (ratings), five million knees in perfect order with one same tilt 1.6.
PARQUET_ROWS_A_BYTE = 10
PARQUET_FREE_ROWS = 100_000
CHUNK_BYTES = 1 << 20
