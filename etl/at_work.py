"""What one load carries from step to step, and how it tells how far it is."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from etl.core import Part
from etl.hook import Hook
from etl.keeping.set_aside import SetAside
from etl.repeat import Fingerprint
from etl.report import Checked, LoadReport
from etl.source import SourceFile
from etl.stage import Staged
from shared.errors import InputUnusableError
from shared.settings import Settings

Progress = Callable[[int, int, str], None]


@dataclass
class Loading:
    """What one load carries from step to step: `home` is the warehouse that it is for, also where it works on a copy;
    `sources` by the number of their row in the report."""

    home: Path
    today: date
    settings: Settings
    mark: Fingerprint
    checked: Checked | None = None
    hook: Hook | None = None
    load_id: int = 0
    report: LoadReport = field(default_factory=LoadReport)
    sources: dict[int, SourceFile] = field(default_factory=dict)
    changed: set[str] = field(default_factory=set)
    set_aside: SetAside | None = None
    # What it touches of a warehouse that is large enough not to be made anew.
    part: Part | None = None
    # Rows that are stored without a faulty cell.
    n_partly: int = 0

    @property
    def may_reject(self) -> int:
        """How many rows may still be rejected; a load that rejects more is none that anybody looks through."""
        return self.settings.reading.most_rejected_rows - self.n_partly - sum(file.rejected for file in self.report.files)

    def note(self, file_no: int, staged: Staged) -> None:
        """Notes what a file holds."""
        row = self.report.files[file_no]
        row.read, row.rejected = staged.read, staged.rejected
        self.n_partly += staged.partly

    def require_usable(self) -> None:
        """Raises InputUnusableError where no file is left that can be used."""
        if not self.sources:
            raise InputUnusableError(
                "Nothing can be used, nothing was written. " + " ".join(file.words for file in self.report.files)
            )


class Steps:
    """Tells what a load is doing, and how many of how many steps are done."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress = progress
        self._total = total
        self._done = 0

    def __call__(self, words: str, n: int = 1) -> None:
        """Tells what is being done, which is so many steps."""
        if self._progress:
            self._progress(min(self._done, self._total - 1), self._total, words)
        self._done += n

    def skip(self, n: int) -> None:
        """So many steps are done already."""
        self._done += n

    def set_total(self, total: int) -> None:
        """How many steps there are, once archives and workbooks are taken apart."""
        self._total = total
