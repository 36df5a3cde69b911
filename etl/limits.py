"""How much a file may ask of the machine. A file beyond one of these limits is refused with a sentence, and no other file.

The largest honest export that these admit: ten million capture rows (about 700 MB of CSV), a full spreadsheet of a
million rows and twenty columns. The set-based reader loses its place in records larger than its buffer, so that the
limit of a record stays well below it.
"""

LINE_BYTES = 1_000_000  # one record of text, quoted line breaks included
COLUMNS = 1_000
NAME_CHARACTERS = 300  # the name of one column
UNPACKED_BYTES = 8 * 1024**3  # what one packed file may unpack to
WORKBOOK_BYTES = 1024**3  # the XML of one workbook, which its reader holds in memory
UNPACKED_RATIO = 200  # unpacked to packed, beyond the first UNPACKED_FREE_BYTES
UNPACKED_FREE_BYTES = 64 * 1024**2
MEMBERS = 1_000  # files in one archive
SHEET_CELLS = 20_000_000  # rows x columns of one sheet, empty ones included
PARQUET_ROWS = 200_000_000
CHUNK_BYTES = 1 << 20
