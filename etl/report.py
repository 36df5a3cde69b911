"""What a load or a check tells: one object for the terminal, `--json` and the Data page."""

from dataclasses import dataclass, field

import orjson

from etl.absent import Absent
from etl.asked_lines import Question
from shared.errors import EXIT_DONE, EXIT_SOME_REJECTED
from shared.rig.findings import RigFinding
from shared.statistics.wording import counted

# What may become of a row that is read.
OUTCOMES = ("stored", "replaced", "unchanged", "rejected", "waiting")


@dataclass
class FileReport:
    """One file: read = stored + replaced + unchanged + rejected + waiting, always. `cells`: faulty cells that could as well be
    empty, kept as not recorded in rows that are stored."""

    file: str
    table: str | None
    read: int = 0
    stored: int = 0
    replaced: int = 0
    unchanged: int = 0
    rejected: int = 0
    waiting: int = 0
    cells: int = 0
    refused: bool = False
    words: str = ""


@dataclass(frozen=True)
class Finding:
    """One rule that one row of a file breaks. `is_cell`: its cell alone is left out, and the row is stored."""

    file: str
    line: int
    column: str
    rule: str
    value: str | None
    words: str
    is_cell: bool = False


@dataclass(frozen=True)
class WarningGroup:
    """The soft warnings of one rule on one column: how many, and the sentences of the first three."""

    rule: str
    table: str
    column: str
    n: int
    examples: list[str]


@dataclass(frozen=True)
class Filled:
    """Cells of one column that a mapping filled where the file has none: how, and how many."""

    table: str
    column: str
    how: str
    n: int

    @property
    def words(self) -> str:
        """The sentence about them."""
        return f"{self.table}.{self.column}: {counted(self.n, 'empty cell')} {self.how}, as the mapping says."


@dataclass(frozen=True)
class Checked:
    """What a check has seen: the fingerprint of files and rules, and the state of the warehouse file."""

    fingerprint: str
    warehouse: tuple[int, int, int] | None


def waiting_words(n_waiting: int) -> str:
    """What a file's words end with where rows of it wait."""
    if n_waiting == 0:
        return ""
    return "; 1 row waits for its session" if n_waiting == 1 else f"; {n_waiting} rows wait for their session"


def cell_words(n_cells: int) -> str:
    """What follows the counts of rows where faulty cells were left out of rows that are stored."""
    return f"; {counted(n_cells, 'faulty cell')} kept as not recorded" if n_cells else ""


@dataclass
class LoadReport:
    """`load_id` is None where nothing was written: a check, or a load that brought nothing new. `filled`: cells that a
    mapping filled. `rig`: what is found of the
    studios' rigs over all fits, and `questions` what is asked of whoever
    looks after the exports, where these rows changed any. `absent`: tables of which there is no
    row after it. `calls`: what it closed in the logbook, in words. `checked` is set by a check, and is no part of what is
    printed.
    """

    load_id: int | None = None
    files: list[FileReport] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    warnings: list[WarningGroup] = field(default_factory=list)
    filled: tuple[Filled, ...] = ()
    rig: tuple[RigFinding, ...] = ()
    questions: tuple[Question, ...] = ()
    absent: tuple[Absent, ...] = ()
    calls: str = ""
    checked: Checked | None = None

    @property
    def cell_words(self) -> str:
        """What follows the counts of all files."""
        return cell_words(sum(file.cells for file in self.files))

    @property
    def exit_code(self) -> int:
        incomplete = any(file.rejected or file.cells or file.refused for file in self.files)
        return EXIT_SOME_REJECTED if incomplete else EXIT_DONE

    def to_json(self) -> bytes:
        names = ("load_id", "files", "findings", "filled", "warnings", "rig", "questions", "absent", "calls")
        content = {name: getattr(self, name) for name in names}
        return orjson.dumps(content, option=orjson.OPT_INDENT_2)
