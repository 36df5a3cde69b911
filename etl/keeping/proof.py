"""Proves that an id is gone from a warehouse file: no text of any table names it, and no byte of the file spells it.

Texts are searched as for taking out (naming.py). Bytes are searched twice, in any case: in the file as it is, and in a copy
written without compression, in which every text that is left can be read; where the file is encrypted, in that copy alone,
which is held in memory. An id that longer ids contain (R0001 in R00010) is looked for outside of those; one that is too short
to be told from chance is searched in the tables only. Both are said.
"""

import mmap
import re
import unicodedata
from collections.abc import Collection, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etl.keeping.naming import Ids, Names, Unclear
from etl.keeping.spelling import takes_words
from shared.encryption import is_encrypted
from shared.lakes.attaching import files_of
from shared.rewriting import plain_copy
from shared.warehouse import open_reading
from shared.working import working

# An id is searched in bytes where chance would spell it less than once in a thousand files of this size.
CHANCE: Final = 0.001
# DuckDB keeps the first bytes of the smallest and largest text of a block beside it.
_CUT: Final = 8
_CHUNK: Final = 1 << 26


@dataclass(frozen=True)
class Proof:
    """What was searched: `rows` still name an id, `hits` bytes still spell one; both are 0 where it is gone.

    `n_texts` columns and `n_bytes` bytes were searched for `n_ids` ids; `n_short` ids were too short for bytes, and `n_within`
    stand within longer ids of others, so that bytes cannot tell them apart. `left` are words that nobody asked to take out.
    Of a file that `is_encrypted` the bytes are those of an unpacked copy in memory alone.
    """

    rows: int
    hits: int
    n_ids: int
    n_short: int
    n_within: int
    n_texts: int
    n_bytes: int
    left: tuple[Unclear, ...] = ()
    is_encrypted: bool = False

    @property
    def holds(self) -> bool:
        return self.rows == 0 and self.hits == 0


def prove(path: Path, ids: Ids, also: Collection[str] = ()) -> Proof:
    """Searches a closed warehouse file for ids of a rider and their sessions, and for what else was to go (`also`)."""
    with working(path.parent, elsewhere=True) as folder, ExitStack() as open_files:
        plain = open_files.enter_context(plain_copy(path, folder))
        # Encrypted bytes tell nothing either way.
        contents = [_mapped(file, open_files) for file in (*files_of(path), plain) if not is_encrypted(file)]
        warehouse = open_reading(path, may_be_older=True)
        open_files.callback(warehouse.close)
        names, takes = Names(warehouse, ids), takes_words(also)
        size = max(map(len, contents))
        searched = [word for word in ids.all if size * _ways(word) / 256 ** len(word.encode()) < CHANCE]
        spelt = [word for word in searched if any(_is_spelt(content, word) for content in contents)]
        longer = {word: names.words_with(word) for word in spelt}
        hits = {word: max(_hits(content, word, longer[word]) for content in contents) for word in spelt}
        # The compression's symbol table may hold what many longer ids begin with; it is no trace of the one forgotten.
        within = [word for word in spelt if longer[word] and hits[word]]
        return Proof(
            rows=names.n_rows(takes),
            hits=sum(n for word, n in hits.items() if word not in within),
            n_ids=len(ids.all),
            n_short=len(ids.all) - len(searched),
            n_within=len(within),
            n_texts=len(names.columns),
            n_bytes=sum(map(len, contents)),
            left=tuple(names.unclear(takes)),
            is_encrypted=is_encrypted(path),
        )


def _ways(word: str) -> int:
    """In how many ways the cases of its letters may be written."""
    return 1 << sum(sign.isalpha() for sign in word)


def _mapped(file: Path, open_files: ExitStack) -> mmap.mmap:
    content = open_files.enter_context(file.open("rb"))
    return open_files.enter_context(mmap.mmap(content.fileno(), 0, access=mmap.ACCESS_READ))


def _written(word: str) -> set[bytes]:
    """The bytes of a word in every case and Unicode form that a program is likely to write, ASCII letters in lower case."""
    cased = {word, word.lower(), word.upper(), word.casefold(), word.title()}
    forms: tuple[str, ...] = ("NFC", "NFD", "NFKC", "NFKD")
    return {unicodedata.normalize(form, one).encode().lower() for one in cased for form in forms}  # type: ignore[arg-type]


def _chunks(content: mmap.mmap, margin: int) -> Iterator[tuple[bytes, int, int]]:
    """Parts of the content in lower case with a margin on both sides; the second and third say where the part itself lies."""
    for start in range(0, len(content), _CHUNK):
        first = max(0, start - margin)
        yield content[first : start + _CHUNK + margin].lower(), start - first, start - first + _CHUNK


def _is_spelt(content: mmap.mmap, word: str) -> bool:
    wanted = _written(word)
    margin = max(map(len, wanted))
    return any(part.find(one) >= 0 for part, _, _ in _chunks(content, margin) for one in wanted)


def _hits(content: mmap.mmap, word: str, longer: Collection[str]) -> int:
    """How often the bytes spell the word outside of the longer ones."""
    wanted = _written(word)
    others = {form for other in longer for form in _written(other)} - wanted
    others |= {cut for other in others for one in wanted if one in (cut := other[:_CUT]) and cut != one}
    # Longest first, so that the whole of a longer id is passed over at once.
    passed = [re.escape(other) for other in sorted(others, key=len, reverse=True)]
    either = re.compile(b"|".join([*passed, b"(" + b"|".join(map(re.escape, sorted(wanted))) + b")"]))
    margin = max(map(len, (*wanted, *others)))
    matches = ((match, first, end) for part, first, end in _chunks(content, margin) for match in either.finditer(part))
    return sum(1 for match, first, end in matches if match.group(1) is not None and first <= match.start() < end)
