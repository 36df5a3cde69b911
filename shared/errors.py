"""One base error, a branch for each kind of failure, one exit code each.

A message says where, what was found, what was expected and what to do. A reader sees the message only; anything
that is not a FitledgerError is a programming fault: its traceback goes to the log, never to a reader.
"""

from typing import ClassVar

EXIT_DONE = 0
EXIT_SOME_REJECTED = 3


class FitledgerError(Exception):
    """Told to the reader as one sentence, without a traceback."""

    exit_code: ClassVar[int] = 1


class UsageError(FitledgerError):
    """The words of the call are off: an unknown option, selection, setting or mapping key."""

    exit_code = 2


class HookError(UsageError):
    """A studio's hook fails or does what none may do. `trace` is for the log: where it failed, without what it held."""

    def __init__(self, message: str, trace: str = "") -> None:
        super().__init__(message)
        self.trace = trace


class InputUnusableError(FitledgerError):
    """No file of the input can be used; nothing was written."""

    exit_code = 4


class AccountError(FitledgerError):
    """An account cannot be made, changed or found, or the file of accounts cannot be used."""

    exit_code = 2


class SignInBusyError(AccountError):
    """Too many passwords are being checked at this moment."""


class AccessLogError(FitledgerError):
    """The log of access cannot be written or read."""

    exit_code = 5


class LogbookError(FitledgerError):
    """The logbook cannot be read or written; nothing in it was changed."""

    exit_code = 5


class NotPermittedError(FitledgerError):
    """The reader's role does not include what was asked."""

    exit_code = 6


class NotReleasedError(NotPermittedError):
    """The reader's role is given figures of these fits only as a part of larger ones.

    `nearest`: the query of the nearest selection that is given out, None where there is none; `own`: that of the same
    selection over the reader's own fits.
    """

    def __init__(self, message: str, nearest: str | None, own: str) -> None:
        super().__init__(message)
        self.nearest = nearest
        self.own = own


class ReportError(FitledgerError):
    """The report cannot be made on this machine."""

    exit_code = 7


class WarehouseError(FitledgerError):
    """The warehouse file is missing, locked, of another version, or no warehouse."""

    exit_code = 5


class WarehouseBusyError(WarehouseError):
    """Another process holds the warehouse for writing."""


class WarehouseDamagedError(WarehouseError):
    """The bytes of the warehouse file are not those that were written."""


class NoMemoryError(WarehouseError):
    """A step needs more memory than there is; what is asked for beside it may well be answered."""


class WarehouseKeyError(WarehouseError):
    """The warehouse is encrypted and its key is missing, another one or unusable; or it should be encrypted and is not."""


class WarehouseChangedError(WarehouseError):
    """Another load came between a check and the load of what was checked."""


class UploadError(UsageError):
    """An upload is not allowed, too large, or no longer kept."""


class SupersededError(FitledgerError):
    """The reader who asked has asked for something newer; nobody waits for this answer."""


class StatisticsError(FitledgerError):
    """A figure may not be shown; the message is the sentence that stands in its place."""

    exit_code = 1


class TooFewError(StatisticsError):
    """Too few riders, knees or changes for an estimate."""


class NotRecordedError(StatisticsError):
    """The studio does not record what was asked for; `absent` names the tables or columns.

    further: what follows the first sentence, a passage each: what that costs, and what is known all the same.
    """

    def __init__(self, message: str, absent: tuple[str, ...], *further: str) -> None:
        super().__init__(" ".join((message, *filter(None, further))))
        self.absent = absent
        self.passages = (message, *filter(None, further))


class NotEstimableError(StatisticsError):
    """The data hold no information on what was asked: a support never changed, or two always changed together."""


class NoConvergenceError(StatisticsError):
    """The fit did not settle on an answer."""
