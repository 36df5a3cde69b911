"""Every question and what it rests on, as a graph from the exported tables on: found by what ran for each."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from dashboard.lineage.tables import made_from, tables_read
from dashboard.lineage.trace import own_sources
from shared.catalogue import catalogue
from shared.ran import Ran


@dataclass(frozen=True)
class Asked:
    """One question: the tables that its own SQL reads (exported ones and those made from them), and its files' names."""

    question: str
    reads: tuple[str, ...]
    files: tuple[str, ...]


@dataclass(frozen=True)
class Lineage:
    """exported: the tables that studios export. made: each table that is made, with what it is made from, after its inputs.
    asked: the questions."""

    exported: tuple[str, ...]
    made: Mapping[str, tuple[str, ...]]
    asked: tuple[Asked, ...]

    def behind(self, question: str) -> frozenset[str]:
        """All tables that a question rests on."""
        found, left = set[str](), [table for one in self.asked if one.question == question for table in one.reads]
        while left:
            table = left.pop()
            found.add(table)
            left += [one for one in self.made.get(table, ()) if one not in found]
        return frozenset(found)

    def depth(self, table: str) -> int:
        """How many steps of making lie behind a table: none behind an exported one."""
        return 1 + max((self.depth(one) for one in self.made[table]), default=0) if table in self.made else 0


def graph_of(ran: Mapping[str, Iterable[Ran]]) -> Lineage:
    """The graph of questions, each with what ran for it."""
    marts = {name: inputs for name, (inputs, _) in made_from().items() if name.startswith("mart.")}
    known = {name.removeprefix("mart."): _plain(inputs) for name, inputs in marts.items()}
    plain = Lineage(tuple(catalogue()), known, ())
    in_order = {name: known[name] for name in sorted(known, key=lambda name: (plain.depth(name), name))}
    return Lineage(plain.exported, in_order, tuple(_asked(question, own) for question, own in sorted(ran.items())))


def _asked(question: str, ran: Iterable[Ran]) -> Asked:
    own = own_sources(ran)
    reads = _plain(table for texts in own.values() for text in texts for table in tables_read(text))
    return Asked(question, reads, tuple(sorted(file.rsplit("/", 1)[-1] for file in own)))


def _plain(tables: Iterable[str]) -> tuple[str, ...]:
    """Tables without their floor: a table of core stands for the exported one; the ledger's own are left out."""
    return tuple(sorted({name for floor, _, name in (one.partition(".") for one in tables) if floor in ("core", "mart")}))
