"""Uploads of the Data page: files come in, are checked, and are then loaded or put aside; loads can be taken back.

Nothing is known of an upload but by its token, which cannot be guessed and is kept by the page that sent the files. Files
lie in a private folder under names of our own; a name that came from outside is only ever shown and matched.
"""

import atexit
import secrets
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Any, Final

from dashboard.web.upload_allowed import files_of, require_open
from dashboard.web.upload_names import by_name, form_of, shown_name, unlike
from etl.history import Foreseen, Undone, foresee, undo
from etl.load import check_files, load
from etl.mapping import MAPPING_FILE
from etl.mapping_assistant.step import LATER, Step, answered, step_of
from etl.mend_files import ToMend, to_mend
from etl.received import received_files
from etl.report import LoadReport
from shared.errors import UploadError, WarehouseBusyError, WarehouseError
from shared.settings import Settings
from shared.warehouse import open_reading
from shared.working import Work, begin

__all__ = ["LATER", "ReceivedFile", "Upload", "Uploads"]
MOST_FILES: Final = 200
BYTES_PER_MB: Final = 1_000_000
# Of the server's four threads, two always remain for the pages.
AT_WORK: Final = 2
WAIT_SECONDS: Final = 3.0
_CHUNK: Final = 1 << 20


@dataclass(frozen=True)
class ReceivedFile:
    """A file as it is called and where it lies."""

    name: str
    path: Path


@dataclass
class Upload:
    """What one reader sent: the files, until they are loaded, and what was last found in them."""

    work: Work
    files: tuple[ReceivedFile, ...]
    expires: float
    sender: str = ""
    report: LoadReport | None = None
    answers: dict[str, str] = field(default_factory=dict)
    later: set[str] = field(default_factory=set)
    proposed: Step | None = None
    is_loaded: bool = False
    step: str = ""
    lock: threading.Lock = field(default_factory=threading.Lock)

    def tell(self, done: int, total: int, words: str) -> None:
        """Notes which step of a check or load is under way."""
        self.step = f"Step {done + 1} of {total}: {words}"


class Uploads:
    """The uploads of one served warehouse. Thread-safe; opens nothing before the first upload."""

    def __init__(
        self,
        warehouse: Path,
        settings: Settings,
        *,
        permit: Callable[[], None] | None = None,
        permit_received: Callable[[str], None] | None = None,
        sender: Callable[[], str] = str,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.warehouse = warehouse
        self.settings = settings
        self._permit = permit
        self._permit_received = permit_received
        self._sender = sender
        self._clock = clock
        self._uploads: dict[str, Upload] = {}
        self._lock = threading.Lock()
        self._working = threading.BoundedSemaphore(AT_WORK)
        # Where a process ends without this (gunicorn's do), the next start of fitledger clears what it left.
        atexit.register(self._put_all_aside)

    @property
    def largest_bytes(self) -> int:
        """How large the files of one upload may be together."""
        return self.settings.upload.largest_mb * BYTES_PER_MB

    def require_permitted(self) -> None:
        """Raises what `permit` raises where the role of the reader who asks does not go so far."""
        if self._permit:
            self._permit()

    def require_allowed(self, address: str | None) -> None:
        """Raises UploadError where a reader at this address may not load, or what `permit` raises."""
        self.require_permitted()
        require_open(self.settings.upload, address)

    def too_large(self) -> UploadError:
        """The sentence for files that are larger than an upload may be; the page tells the same before it sends them."""
        return UploadError(
            f"The files are larger than the {self.settings.upload.largest_mb} MB that can be sent from this page at once. "
            "Nothing was sent or changed. Send fewer at a time, or load them with the command: fitledger load FOLDER."
        )

    def receive(self, files: Iterable[tuple[str | None, IO[bytes]]]) -> str:
        """Keeps the files of one upload; returns its token.

        Raises UploadError where there is none, too many, or too much; WarehouseError where the disk takes no more.
        """
        return self._take(lambda folder: tuple(self._kept(folder, files)))

    def receive_folder(self) -> str:
        """Takes the files of the folder that the settings or `fitledger start` name, as they lie there; returns the token.

        Raises UploadError where none is named, or it holds no file; UsageError where it is gone.
        """
        return self._take(lambda _: tuple(ReceivedFile(name, path) for name, path in files_of(self.settings)))

    def _take(self, keep: Callable[[Path], tuple[ReceivedFile, ...]]) -> str:
        self.sweep()
        token = secrets.token_urlsafe(32)
        try:
            work = begin(self.warehouse.parent, elsewhere=True)
            try:
                kept = keep(work.folder)
            except BaseException:
                work.end()
                raise
        except OSError as fault:
            raise WarehouseError(
                f"The files could not be kept for checking ({fault.strerror or fault}). Nothing was changed. Free some space "
                f"in {self.warehouse.parent} or in the folder of temporary files and try again."
            ) from fault
        seconds = 60 * self.settings.upload.kept_minutes
        with self._lock:
            self._uploads[token] = Upload(work, kept, self._clock() + seconds, self._sender())
        timer = threading.Timer(seconds + 1, self.sweep)
        timer.daemon = True
        timer.start()
        return token

    def _kept(self, folder: Path, files: Iterable[tuple[str | None, IO[bytes]]]) -> Iterator[ReceivedFile]:
        left, taken = self.largest_bytes, set[str]()
        for number, (given, content) in enumerate(files, start=1):
            if number > MOST_FILES:
                raise UploadError(
                    f"More than {MOST_FILES} files came at once. Nothing was changed. Pack them as one .zip, or load them "
                    "with the command: fitledger load FOLDER."
                )
            name = unlike(shown_name(given), taken)
            taken.add(name.lower())
            path = folder / f"{number:04d}{form_of(name)}"
            with path.open("xb") as kept:
                while part := content.read(_CHUNK):
                    left -= len(part)
                    if left < 0:
                        raise self.too_large()
                    kept.write(part)
            yield ReceivedFile(name, path)
        if not taken:
            raise UploadError("No file arrived. Nothing was changed. Choose the files again.")

    def check(self, token: str) -> LoadReport:
        """What loading the files would do, as the loader finds it; nothing is written."""
        with self._at_work(token) as upload:
            upload.report = check_files(_received(upload), self.warehouse, upload.tell, settings=self.settings)
            return upload.report

    def propose(self, token: str) -> Step:
        """What a mapping of these files would be, by the answers given so far, and the next question; nothing is loaded."""
        with self._at_work(token) as upload:
            upload.tell(0, 1, "reading headings and cells")
            others = [(file.name, file.path) for file in upload.files if file.name != MAPPING_FILE]
            upload.proposed = step_of(
                by_name(upload.work.folder, others), upload.answers, self.settings, frozenset(upload.later)
            )
            return upload.proposed

    def answer(self, token: str, key: str, said: str) -> Step:
        """Takes the answer to the question that is asked now, and asks the next. Raises UsageError for one it does not take."""
        upload = self._known(token)
        if upload.proposed is None:
            raise UploadError("Nothing was asked of these files yet. Nothing was changed. Propose a mapping first.")
        if (taken := answered(upload.proposed, key, said)) == LATER:
            upload.later.add(key)
        else:
            upload.answers[key] = taken
        return self.propose(token)

    def ask_again(self, token: str) -> Step:
        """Asks what was put off."""
        self._known(token).later.clear()
        return self.propose(token)

    def mapping(self, token: str) -> str:
        """The text of the mapping as it stands; lines that wait for an answer are not in force."""
        upload = self._known(token)
        if upload.proposed is None:
            raise UploadError("No mapping was proposed of these files yet. Propose one first.")
        return upload.proposed.text

    def use_mapping(self, token: str) -> LoadReport:
        """Puts the mapping among the files, and checks them by it."""
        text, upload = self.mapping(token), self._known(token)
        path = upload.work.folder / MAPPING_FILE
        path.write_text(text, encoding="utf-8")
        others = tuple(file for file in upload.files if file.path != path)
        upload.files = (*others, ReceivedFile(MAPPING_FILE, path))
        return self.check(token)

    def load(self, token: str) -> LoadReport:
        """Loads what was checked, and forgets the files.

        Raises WarehouseChangedError where the warehouse is no longer the one that was checked against: check again.
        """
        with self._at_work(token) as upload:
            checked = upload.report.checked if upload.report else None
            if checked is None:
                raise UploadError("These files were not checked yet. Nothing was changed. Choose them again.")
            upload.report = load(
                _received(upload),
                self.warehouse,
                upload.tell,
                settings=self.settings,
                wait_seconds=WAIT_SECONDS,
                checked=checked,
            )
            upload.is_loaded = True
            upload.work.end()
            return upload.report

    def put_aside(self, token: str) -> None:
        """Forgets an upload of the reader's and its files; a token that is not known is no fault."""
        if self._sent(token):
            self._forget(token)

    def _forget(self, token: str) -> None:
        with self._lock:
            upload = self._uploads.pop(token, None)
        if upload:
            upload.work.end()

    def step(self, token: str) -> str:
        """The step that a check or load of an upload is at; nothing where none is under way, or it is another reader's."""
        upload = self._sent(token)
        return upload.step if upload else ""

    def findings(self, token: str) -> list[dict[str, Any]]:
        """Every finding of the last check or load of an upload, whole."""
        report = self._known(token).report
        return [asdict(finding) for finding in report.findings] if report else []

    def foresee(self, load_id: int) -> list[Foreseen]:
        """What taking a load back would do."""
        return foresee(self.warehouse, load_id)

    def take_back(self, load_id: int) -> Undone:
        """Takes a load back whole."""
        with self._one_of_few():
            return undo(self.warehouse, load_id, settings=self.settings, wait_seconds=WAIT_SECONDS)

    def rejects(self, table: str) -> ToMend:
        """The rejected rows of one table as they were received, to be mended and loaded again; raises what `permit_received`
        raises where the reader may not see that table as it was received."""
        if self._permit_received:
            self._permit_received(table)
        warehouse = open_reading(self.warehouse)
        try:
            return to_mend(warehouse, table)
        finally:
            warehouse.close()

    def sweep(self) -> None:
        """Forgets what was neither loaded nor put aside in time."""
        now = self._clock()
        with self._lock:
            late = [token for token, upload in self._uploads.items() if upload.expires <= now and not upload.lock.locked()]
        for token in late:
            self._forget(token)

    def _put_all_aside(self) -> None:
        for token in list(self._uploads):
            self._forget(token)

    def _sent(self, token: str) -> Upload | None:
        """An upload of the reader who asks; another reader's is as unknown as none."""
        upload = self._uploads.get(token)
        return upload if upload and upload.sender == self._sender() else None

    def _known(self, token: str) -> Upload:
        self.sweep()
        upload = self._sent(token)
        if upload is None:
            raise UploadError(
                f"These files are no longer kept: they are put aside after {self.settings.upload.kept_minutes} minutes, and "
                "when the dashboard starts anew. Nothing was changed. Choose them again."
            )
        return upload

    @contextmanager
    def _at_work(self, token: str) -> Iterator[Upload]:
        upload = self._known(token)
        if upload.is_loaded:
            raise UploadError("These files are loaded already. Nothing was changed.")
        if not upload.lock.acquire(blocking=False):
            raise UploadError("These files are being worked on already. Wait for that to end.")
        try:
            with self._one_of_few():
                yield upload
        finally:
            upload.step = ""
            upload.lock.release()

    @contextmanager
    def _one_of_few(self) -> Iterator[None]:
        if not self._working.acquire(blocking=False):
            raise WarehouseBusyError(
                "Other readers' files are being checked or loaded at this moment. Nothing was changed. Try again when "
                "they are done, in some seconds."
            )
        try:
            yield
        finally:
            self._working.release()


def _received(upload: Upload) -> list[Any]:
    return received_files((file.name, file.path) for file in upload.files)
