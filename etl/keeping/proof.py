"""Proves that an id is gone from a warehouse file: no text of any table names it, and no byte of the file spells it.

Bytes are searched twice: in the file as it is, and in a copy written without compression, in which every text that is
left can be read. An id that longer ids contain (R0001 in R00010) is looked for outside of
those; one that is too short to be told from chance is searched in the tables only. Both are said.
"""

import mmap
import re
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from etl.keeping.owned import ID_CHARACTERS, RIDERS, Ids, id_columns, pattern
from shared.catalogue import catalogue
from shared.rewriting import plain_copy
from shared.warehouse import Warehouse, open_reading
from shared.working import working

SQL = Path(__file__).parents[1] / "sql/keeping"
# An id is searched in bytes where chance would spell it less than once in a thousand files of this size.
CHANCE = 0.001
# DuckDB keeps the first bytes of the smallest and largest text of a block beside it.
_CUT = 8


@dataclass(frozen=True)
class Proof:
    """What was searched: `rows` still name an id, `hits` bytes still spell one; both are 0 where it is gone.

    `n_texts` columns and `n_bytes` bytes were searched for `n_ids` ids; `n_short` ids were too short for bytes, and `n_within`
    stand within longer ids of others, so that bytes cannot tell them apart.
    """

    rows: int
    hits: int
    n_ids: int
    n_short: int
    n_within: int
    n_texts: int
    n_bytes: int

    @property
    def holds(self) -> bool:
        return self.rows == 0 and self.hits == 0


def prove(path: Path, ids: Ids) -> Proof:
    """Searches a closed warehouse file for ids of a rider and their sessions."""
    with working(path.parent, elsewhere=True) as folder, ExitStack() as open_files:
        plain = open_files.enter_context(plain_copy(path, folder))
        contents = [_mapped(file, open_files) for file in (path, plain)]
        warehouse = open_reading(path, may_be_older=True)
        open_files.callback(warehouse.close)
        texts = warehouse.rows(SQL / "texts.sql")
        size = max(map(len, contents))
        searched = [word for word in ids.all if size / 256 ** len(word.encode()) < CHANCE]
        spelt = {
            word: _longer(warehouse, texts, word) for word in searched if any(c.find(word.encode()) >= 0 for c in contents)
        }
        hits = {word: max(_hits(content, word, longer) for content in contents) for word, longer in spelt.items()}
        # The compression's symbol table may hold what many longer ids begin with; it is no trace of the one forgotten.
        within = [word for word, longer in spelt.items() if longer and hits[word]]
        return Proof(
            rows=sum(_rows(warehouse, text, ids) for text in texts),
            hits=sum(n for word, n in hits.items() if word not in within),
            n_ids=len(ids.all),
            n_short=len(ids.all) - len(searched),
            n_within=len(within),
            n_texts=len(texts),
            n_bytes=sum(map(len, contents)),
        )


def _mapped(file: Path, open_files: ExitStack) -> mmap.mmap:
    content = open_files.enter_context(file.open("rb"))
    return open_files.enter_context(mmap.mmap(content.fileno(), 0, access=mmap.ACCESS_READ))


def spells(content: bytes, ids: Ids) -> bool:
    """Whether a text file names one of the ids that can be told from other words."""
    words = "|".join(re.escape(word) for word in ids.telling)
    text = content.decode("utf-8", errors="replace")
    return bool(words) and re.search(rf"(?<![\w-])(?:{words})(?![\w-])", text) is not None


def _rows(warehouse: Warehouse, text: dict[str, str], ids: Ids) -> int:
    column, place = f'"{text["column_name"]}"', f'"{text["schema_name"]}"."{text["table_name"]}"'
    if parent := _PARENTS.get(text["column_name"]):
        words = list(ids.riders if parent == RIDERS else ids.sessions)
        found = warehouse.value(f"SELECT count(*) FROM {place} WHERE {column} IN (SELECT unnest($words))", {"words": words})
    else:
        test = {"pattern": pattern(ids.telling)}
        found = warehouse.value(f"SELECT count(*) FROM {place} WHERE regexp_matches({column}, $pattern)", test)
    return int(found)


# Columns that hold ids of riders or sessions, here and in the marts, with the table that the id is the key of.
_PARENTS = {column: parent for table in catalogue().values() for column, parent in id_columns(table).items()}


def _longer(warehouse: Warehouse, texts: Iterable[dict[str, str]], word: str) -> set[str]:
    """The words of others in the warehouse that contain this one."""
    around = f"[{ID_CHARACTERS}]*{re.escape(word)}[{ID_CHARACTERS}]*"
    found: set[str] = set()
    for text in texts:
        column, place = f'"{text["column_name"]}"', f'"{text["schema_name"]}"."{text["table_name"]}"'
        words = f"SELECT DISTINCT unnest(regexp_extract_all({column}, $around)) AS word FROM {place}"
        rows = warehouse.rows(f"{words} WHERE contains({column}, $word)", {"around": around, "word": word})
        found |= {row["word"] for row in rows}
    return found - {word}


def _hits(content: mmap.mmap, word: str, longer: set[str]) -> int:
    """How often the bytes spell the word outside of the longer ones."""
    wanted, others = word.encode(), {other.encode() for other in longer}
    others |= {other[:_CUT] for other in others if wanted in other[:_CUT] and other[:_CUT] != wanted}
    # Longest first, so that the whole of a longer id is passed over at once.
    passed = [re.escape(other) for other in sorted(others, key=len, reverse=True)]
    either = re.compile(b"|".join([*passed, b"(" + re.escape(wanted) + b")"]))
    return sum(match.group(1) is not None for match in either.finditer(content))
